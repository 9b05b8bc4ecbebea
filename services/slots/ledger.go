package slots

import (
	"cmp"
	"fmt"
	"slices"
)

// ledger is what is taken of each resource, by the fixed visits and those of a plan.
type ledger struct {
	p     *Problem
	site  *site
	taken map[int][]need // by resource
}

// newLedger enters what is fixed and the plan's slots, without that of one visit (-1: with all).
func newLedger(p *Problem, s *site, slots []Slot, without int) *ledger {
	l := &ledger{p: p, site: s, taken: map[int][]need{}}
	for _, f := range p.Fixed {
		l.enter(p.fixedNeeds(f, nil))
	}
	for i, slot := range slots {
		if slot != None && i != without {
			l.enter(p.slotNeeds(i, slot))
		}
	}
	return l
}

func (l *ledger) enter(needs []need) {
	for _, n := range needs {
		l.taken[n.resource] = append(l.taken[n.resource], n)
	}
}

// slotNeeds lists what a slot takes.
func (p *Problem) slotNeeds(i int, s Slot) []need {
	return p.needs(Span{s.Begin, s.Begin + p.Visits[i].Minutes}, s.Trainer, s.Area, s.Gate, p.dayAt(s.Begin), nil)
}

// room reports whether there is room for all of some needs.
func (l *ledger) room(needs []need) bool {
	return !slices.ContainsFunc(needs, func(n need) bool { return !l.roomFor(n) })
}

// roomFor counts at the beginning of the need, and wherever something else begins within it.
func (l *ledger) roomFor(n need) bool {
	capacity, taken := l.p.capacity(n.resource), l.taken[n.resource]
	fullAt := func(k int) bool {
		count := 0
		for _, x := range taken {
			if x.from <= k && k < x.to {
				count++
			}
		}
		return count >= capacity
	}
	if fullAt(n.from) {
		return false
	}
	for _, x := range taken {
		if n.from < x.from && x.from < n.to && fullAt(x.from) {
			return false
		}
	}
	return true
}

// explain lists the visits without a slot, and why.
func (m *model) explain(plan *Plan) {
	alone, all := newLedger(m.p, m.site, nil, -1), newLedger(m.p, m.site, plan.Slots, -1)
	for i, s := range plan.Slots {
		if s != None {
			continue
		}
		x := Missing{Visit: i, Reason: alone.reason(i), Alone: true}
		if x.Reason == NotWorthIt && !m.tooDear(i) {
			x = Missing{Visit: i, Reason: all.reason(i)}
		}
		plan.Missing = append(plan.Missing, x)
	}
}

// tooDear reports whether a visit's slots, beside what is fixed, cost too much each.
func (m *model) tooDear(i int) bool { return len(m.options[i]) == 1 }

// reason finds what is in a visit's way: the furthest that any beginning comes.
func (l *ledger) reason(i int) (furthest Reason) {
	v := &l.p.Visits[i]
	some := func(list []Choice, open func(of int) bool, needs func(of int) []need) bool {
		return slices.ContainsFunc(list, func(c Choice) bool { return open(c.Of) && l.room(needs(c.Of)) })
	}
	for _, b := range l.p.beginnings(i) {
		at := Span{b.at, b.at + v.Minutes}
		always := func(int) bool { return true }
		stages := []func() bool{
			func() bool { return l.room(l.p.needs(at, -1, -1, -1, b.day, nil)) },
			func() bool {
				return some(v.Trainers, func(t int) bool { return within(l.site.trainers[t], at) }, func(t int) []need { return l.p.needs(at, t, -1, -1, -1, nil) })
			},
			func() bool {
				return some(v.Areas, func(a int) bool { return within(l.site.areas[a], at) }, func(a int) []need { return l.p.needs(at, -1, a, -1, -1, nil) })
			},
			func() bool {
				return some(v.Gates, always, func(g int) []need { return l.p.needs(at, -1, -1, g, -1, nil) })
			},
		}
		reached := NoPlace
		for _, ok := range stages {
			if !ok() {
				break
			}
			reached++
		}
		if furthest = max(furthest, reached); furthest == NotWorthIt {
			break
		}
	}
	return furthest
}

// apart is how far other times for a visit should lie from each other, in minutes, as far as there are enough.
const apart = 60

// Alternatives lists at most k other slots that a visit could have while every other visit keeps the one it has in the plan: the cheapest, each
// at another time, if possible an hour or more from each other and from the present one. They come in the order of time. It returns an error,
// wrapping ErrInvalid, for an invalid problem, a plan that breaks a rule, or a visit that does not exist.
func Alternatives(p *Problem, plan *Plan, visit, k int) ([]Slot, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	if _, err := Check(p, plan); err != nil {
		return nil, fmt.Errorf("%w: plan: %w", ErrInvalid, err)
	}
	if visit < 0 || visit >= len(p.Visits) {
		return nil, invalid("visit %d of %d", visit, len(p.Visits))
	}
	l := newLedger(p, newSite(p), plan.Slots, visit)
	found := l.others(visit, plan.Slots[visit])
	var chosen, avoid []Slot
	if plan.Slots[visit] != None {
		avoid = append(avoid, plan.Slots[visit])
	}
	for _, far := range []int{apart, 1} {
		for _, o := range found {
			near := func(s Slot) bool { return max(s.Begin-o.slot.Begin, o.slot.Begin-s.Begin) < far }
			if len(chosen) < k && !slices.ContainsFunc(avoid, near) {
				chosen, avoid = append(chosen, o.slot), append(avoid, o.slot)
			}
		}
	}
	slices.SortFunc(chosen, func(a, b Slot) int { return cmp.Compare(a.Begin, b.Begin) })
	return chosen, nil
}

// others lists the slots that there is room for, one for each beginning other than the present one, cheapest first.
func (l *ledger) others(visit int, present Slot) (found []option) {
	l.p.slotsOf(l.site, visit, func(s Slot, day, cost int) bool {
		if s.Begin == present.Begin || !l.room(l.p.slotNeeds(visit, s)) {
			return true
		}
		if n := len(found); n == 0 || found[n-1].slot.Begin != s.Begin {
			found = append(found, option{slot: s, cost: cost})
		} else if cost < found[n-1].cost {
			found[n-1] = option{slot: s, cost: cost}
		}
		return true
	})
	slices.SortStableFunc(found, func(a, b option) int { return cmp.Compare(a.cost, b.cost) })
	return found
}
