package slots

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
)

// Change is something that could be given in for a visit without a slot.
type Change int

// The changes that are tried, in the order in which they are offered: what one can ask an owner or a colleague before what changes the site.
const (
	// Shorter: the visit takes Minutes less; never less than its Least.
	Shorter Change = iota
	// Wider: the owner could make Span, which is Minutes more than one of its windows.
	Wider
	// FreeTrainer: the trainer Of, who may hold it, would be freed or stay for Span, Minutes of which are not free now. Rules on hours and
	// breaks are not looked at: whoever proposes it says so.
	FreeTrainer
	// OtherTrainer: the trainer Of, one of the visit's OtherTrainers, would hold it.
	OtherTrainer
	// OtherArea: the area Of, one of the visit's OtherAreas, would be used.
	OtherArea
	// MorePlaces: the day Of would have one more handover place.
	MorePlaces
	// Nearer: at the gate Of, visits could follow each other Minutes nearer. The spacing keeps dogs from meeting: whoever proposes it says so.
	Nearer
)

// Remedy is a change with which a visit that has no slot would have one, without another one losing its own. It was tried.
type Remedy struct {
	Change  Change
	Of      int // trainer, area, day or gate; -1 where the change is about the visit itself
	Minutes int
	Span    Span
	// Slot is what the visit would then have, and Moved how many other visits would have to take another slot than in the plan.
	Slot  Slot
	Moved int
}

// String says the remedy in words, with numbers for names.
func (r Remedy) String() string {
	switch r.Change {
	case Shorter:
		return fmt.Sprintf("make the visit %d minutes shorter", r.Minutes)
	case Wider:
		return fmt.Sprintf("the owner could come from minute %d to %d (%d minutes more)", r.Span.From, r.Span.To, r.Minutes)
	case FreeTrainer:
		return fmt.Sprintf("free trainer %d from minute %d to %d (%d minutes more)", r.Of, r.Span.From, r.Span.To, r.Minutes)
	case OtherTrainer:
		return fmt.Sprintf("let trainer %d hold it", r.Of)
	case OtherArea:
		return fmt.Sprintf("use area %d", r.Of)
	case MorePlaces:
		return fmt.Sprintf("one more handover place on day %d", r.Of)
	case Nearer:
		return fmt.Sprintf("let visits follow each other %d minutes nearer at gate %d", r.Minutes, r.Of)
	}
	return fmt.Sprintf("change %d", int(r.Change))
}

// How far a remedy goes, and how much is tried.
const (
	widerMost    = 4 * 60
	remedyNodes  = 30
	remedySolves = 60
)

// Remedies finds, for a visit that has no slot in a plan, for each kind of change the smallest one that would give it one: with all else kept
// as it is or, where that is not enough, with other visits of the same days moved but none of them lost. Each was tried, by looking for a slot
// or by solving again, so the list may lack a change that only a longer search would find. It returns an error, wrapping ErrInvalid, for an
// invalid problem, a plan that breaks a rule, or a visit that has a slot or does not exist.
func Remedies(p *Problem, plan *Plan, visit int) ([]Remedy, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	if _, err := Check(p, plan); err != nil {
		return nil, fmt.Errorf("%w: plan: %w", ErrInvalid, err)
	}
	if visit < 0 || visit >= len(p.Visits) || plan.Slots[visit] != None {
		return nil, invalid("visit %d of %d has a slot or does not exist", visit, len(p.Visits))
	}
	t := &trial{p: p, plan: plan, visit: visit}
	for _, kind := range []func(){t.shorter, t.wider, t.freeTrainer, t.others, t.places, t.nearer} {
		kind()
	}
	return t.found, nil
}

// trial tries changes for one visit.
type trial struct {
	p      *Problem
	plan   *Plan
	visit  int
	solves int
	found  []Remedy
}

// changed is a copy of the problem of which visits, trainers, days and gates may be replaced.
func (t *trial) changed() *Problem {
	q := *t.p
	q.Visits, q.Trainers, q.Days, q.Gates = slices.Clone(q.Visits), slices.Clone(q.Trainers), slices.Clone(q.Days), slices.Clone(q.Gates)
	return &q
}

// helps tries a changed problem and notes the remedy if it helps.
func (t *trial) helps(q *Problem, r Remedy) (ok bool) {
	if r.Slot, r.Moved, ok = t.works(q); ok {
		t.found = append(t.found, r)
	}
	return ok
}

// works looks for a slot in a changed problem, at first with all else kept.
func (t *trial) works(q *Problem) (slot Slot, moved int, ok bool) {
	if slot, ok = cheapestBeside(q, t.plan, t.visit); ok {
		return slot, 0, true
	}
	return t.again(q)
}

// cheapestBeside is the cheapest slot for a visit with all else kept.
func cheapestBeside(q *Problem, plan *Plan, visit int) (Slot, bool) {
	l := newLedger(q, newSite(q), plan.Slots, visit)
	best, least := None, q.Visits[visit].Miss+1
	q.slotsOf(l.site, visit, func(s Slot, _, cost int) bool {
		if cost < least && l.room(q.slotNeeds(visit, s)) {
			best, least = s, cost
		}
		return true
	})
	return best, best != None
}

// again solves with the visits that could be on the same days, all others fixed, and looks whether the visit has a slot and the others too that
// have one in the plan.
func (t *trial) again(q *Problem) (slot Slot, moved int, ok bool) {
	if t.solves >= remedySolves {
		return None, 0, false
	}
	t.solves++
	days := map[int]bool{}
	for _, b := range q.beginnings(t.visit) {
		days[b.day] = true
	}
	near := *q
	near.Visits, near.Fixed = nil, slices.Clone(q.Fixed)
	var number []int
	for i, s := range t.plan.Slots {
		if i != t.visit && s == None {
			continue
		}
		if i != t.visit && !days[q.dayAt(s.Begin)] {
			end := s.Begin + q.Visits[i].Minutes
			near.Fixed = append(near.Fixed, Fixed{Span{s.Begin, end}, s.Trainer, s.Area, s.Gate, true})
			continue
		}
		v := q.Visits[i]
		if i != t.visit {
			v.Kept.Slot = s // prefer a plan that moves few
			v.Kept.Moved, v.Kept.Changed = min(mostPoints, v.Kept.Moved+1), min(mostPoints, v.Kept.Changed+1)
			v.Miss = mostPoints
		}
		near.Visits, number = append(near.Visits, v), append(number, i)
	}
	plan, err := Solve(&near, Options{Nodes: remedyNodes})
	if err != nil || len(plan.Missing) > 0 {
		return None, 0, false
	}
	for n, i := range number {
		switch {
		case i == t.visit:
			slot = plan.Slots[n]
		case plan.Slots[n] != t.plan.Slots[i]:
			moved++
		}
	}
	return slot, moved, true
}

func (t *trial) shorter() {
	v := t.p.Visits[t.visit]
	if v.Least == 0 {
		return
	}
	for less := min(t.p.Step, v.Minutes-v.Least); less > 0 && v.Minutes-less >= v.Least; less += t.p.Step {
		q := t.changed()
		q.Visits[t.visit].Minutes = v.Minutes - less
		if t.helps(q, Remedy{Change: Shorter, Of: -1, Minutes: less}) {
			return
		}
	}
}

// wider looks first how much wider all windows must be for any help, at both ends, so that most of what is too little need not be tried.
func (t *trial) wider() {
	v := t.p.Visits[t.visit]
	all := func(more int) bool {
		q := t.changed()
		x := &q.Visits[t.visit]
		x.Windows = slices.Clone(v.Windows)
		for n, w := range v.Windows {
			x.Windows[n].Span = Span{max(0, w.From-more), min(t.p.Minutes, w.To+more)}
		}
		_, _, ok := t.works(q)
		return ok
	}
	most := widerMost / t.p.Step
	if len(v.Windows) == 0 || most == 0 || !all(most*t.p.Step) {
		return
	}
	first := 1 + sort.Search(most-1, func(n int) bool { return all((n + 1) * t.p.Step) })
	for more := first * t.p.Step; more <= widerMost; more += t.p.Step {
		for _, w := range v.Windows {
			for _, s := range []Span{{max(0, w.From-more), w.To}, {w.From, min(t.p.Minutes, w.To+more)}} {
				if s.To-s.From <= w.To-w.From {
					continue
				}
				q := t.changed()
				q.Visits[t.visit].Windows = append(slices.Clone(v.Windows), Window{s, w.Points})
				if t.helps(q, Remedy{Change: Wider, Of: -1, Minutes: s.To - s.From - (w.To - w.From), Span: s}) {
					return
				}
			}
		}
	}
}

// freeTrainer tries, for each trainer who may hold the visit, the beginnings for which least would have to be freed.
func (t *trial) freeTrainer() {
	v := t.p.Visits[t.visit]
	s := newSite(t.p)
	var tries []Remedy
	for _, b := range t.p.beginnings(t.visit) {
		at := Span{b.at, b.at + v.Minutes}
		for _, c := range v.Trainers {
			less := v.Minutes
			for _, f := range s.trainers[c.Of] {
				less -= max(0, min(at.To, f.To)-max(at.From, f.From))
			}
			if less > 0 {
				tries = append(tries, Remedy{Change: FreeTrainer, Of: c.Of, Minutes: less, Span: at})
			}
		}
	}
	slices.SortStableFunc(tries, func(a, b Remedy) int { return cmp.Compare(a.Minutes, b.Minutes) })
	for _, r := range tries[:min(len(tries), 200)] {
		q := t.changed()
		q.Trainers[r.Of].Free = append(slices.Clone(q.Trainers[r.Of].Free), r.Span)
		if slot, ok := cheapestBeside(q, t.plan, t.visit); ok {
			r.Slot = slot
			t.found = append(t.found, r)
			return
		}
	}
}

// others tries the trainers and areas that could be asked for.
func (t *trial) others() {
	v := t.p.Visits[t.visit]
	for _, n := range v.OtherTrainers {
		q := t.changed()
		x := &q.Visits[t.visit]
		x.Trainers, x.OtherTrainers = append(slices.Clone(v.Trainers), Choice{Of: n}), nil
		if t.helps(q, Remedy{Change: OtherTrainer, Of: n}) {
			break
		}
	}
	for _, n := range v.OtherAreas {
		q := t.changed()
		x := &q.Visits[t.visit]
		x.Areas, x.OtherAreas = append(slices.Clone(v.Areas), Choice{Of: n}), nil
		if t.helps(q, Remedy{Change: OtherArea, Of: n}) {
			break
		}
	}
}

func (t *trial) places() {
	last := -1
	for _, b := range t.p.beginnings(t.visit) {
		if b.day == last {
			continue
		}
		last = b.day
		q := t.changed()
		q.Days[b.day].Places++
		if t.helps(q, Remedy{Change: MorePlaces, Of: b.day}) {
			return
		}
	}
}

// nearer looks first whether any spacing would help.
func (t *trial) nearer() {
	for _, c := range t.p.Visits[t.visit].Gates {
		g := t.p.Gates[c.Of]
		with := func(less int) *Problem {
			q := t.changed()
			q.Gates[c.Of] = Gate{g.Spacing - less, min(g.Passing, g.Spacing-less)}
			return q
		}
		if _, _, ok := t.works(with(g.Spacing)); g.Spacing == 0 || !ok {
			continue
		}
		for less := min(5, g.Spacing); ; less = min(less+5, g.Spacing) {
			if t.helps(with(less), Remedy{Change: Nearer, Of: c.Of, Minutes: less}) {
				return
			}
			if less == g.Spacing {
				break
			}
		}
	}
}
