package planner

import (
	"cmp"
	"slices"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
)

// mostRunMoves is how many stays may get another run so that one dog can stay on. Our own setting, no source: beyond a few, drafting the
// month again is the better way.
const mostRunMoves = 3

// RunMove is a promised stay that gets another run for all of its nights. Its dog has not arrived.
type RunMove struct {
	StayID           ids.StayID
	Request          string
	DogCode, DogName string
	Nights           calendar.Span
	From, To         ids.RunID
	FromRun, ToRun   string
	// OwnerSees is what the owner would notice; empty for nothing.
	OwnerSees string
	stay      Stay
}

// housing is who sleeps in which run of the site while it is worked out who could give way. Dogs that have arrived stay where they are; a
// stay that is still to come may get another run that its dog fits into.
type housing struct {
	m     *mending
	runs  []facility.Run // those that plans use, by code
	rooms []room
	spots []spot // by room
	// smaller allows runs of a smaller class than promised, as long as the dog fits.
	smaller bool
	// banned refuses a run to a stay.
	banned func(run facility.Run, s Stay) bool
}

// room is a stay and the run it was promised; -1 for one that is no run of the plan.
type room struct {
	f fixedStay
	// asked is the first night that is asked for: nights before it are promised to the stay already.
	asked int
	size  facility.DogSize
	first int
	bound bool
	// open are the runs for the stay, smaller ones left out or not; nil until they are asked for.
	open [2][]int
}

// spot is the run that a stay has for now, and whether that is settled.
type spot struct {
	run   int
	moved bool
}

func (m *mending) newHousing() *housing {
	h := &housing{m: m, banned: func(run facility.Run, s Stay) bool { return heldOn(m.in.Holds, run, s.Nights.From) }}
	for _, r := range m.in.Runs {
		if !r.Isolation {
			h.runs = append(h.runs, r)
		}
	}
	for _, f := range m.b.fixed {
		h.add(f)
	}
	return h
}

// add lays a stay into its promised run and returns its number. Of one that began before the days on the board it is not known who else
// is there then, so it stays where it is.
func (h *housing) add(f fixedStay) int {
	run := slices.IndexFunc(h.runs, func(r facility.Run) bool { return r.ID == f.stay.RunID })
	dog := h.m.cases[f.stay.RequestID].Dog
	h.spots = append(h.spots, spot{run: run})
	h.rooms = append(h.rooms, room{f: f, asked: f.first, first: run, bound: h.m.arrived(f.stay) || f.first < 0,
		size: facility.DogSize{LengthMM: dog.LengthMM, HeightMM: dog.HeightMM}})
	return len(h.rooms) - 1
}

// put gives a run to a stay and moves those in its way, at most budget of them with all that follows; used says how many. When it cannot,
// nothing is changed.
func (h *housing) put(x, run, budget int) (used int, ok bool) {
	before := slices.Clone(h.spots)
	h.spots[x].run = run
	blockers := h.blockers(x)
	used = len(blockers)
	ok = used <= budget
	for _, y := range blockers {
		ok = ok && !h.rooms[y].bound && !h.spots[y].moved
	}
	for _, y := range blockers {
		if !ok {
			break
		}
		var more int
		if more, ok = h.rehouse(y, budget-used); ok {
			used += more
		}
	}
	if !ok {
		copy(h.spots, before)
		return 0, false
	}
	return used, true
}

// rehouse finds another run for a stay, with as few further moves as it can, at most budget of them.
func (h *housing) rehouse(x, budget int) (used int, ok bool) {
	h.spots[x].moved = true
	from := h.spots[x].run
	for allowed := 0; allowed <= budget; allowed++ {
		for _, run := range h.candidates(x) {
			if run == from {
				continue
			}
			if used, ok := h.put(x, run, allowed); ok {
				return used, true
			}
		}
	}
	h.spots[x].moved = false
	return 0, false
}

// blockers are the other stays that need the run of a stay on one of its nights, clean-down included.
func (h *housing) blockers(x int) (found []int) {
	_, end := h.m.b.holdsRun(h.rooms[x].f)
	from := h.rooms[x].asked
	for y := range h.rooms {
		if y == x || h.spots[y].run != h.spots[x].run {
			continue
		}
		if first, last := h.m.b.holdsRun(h.rooms[y].f); first < end && from < last {
			found = append(found, y)
		}
	}
	return found
}

// candidates are the runs for a whole stay: those of its class first, then larger ones, then smaller ones where they are allowed.
func (h *housing) candidates(x int) []int {
	which := 0
	if h.smaller {
		which = 1
	}
	if h.rooms[x].open[which] == nil {
		h.rooms[x].open[which] = h.openFor(h.rooms[x])
	}
	return h.rooms[x].open[which]
}

// openFor works candidates out; never nil.
func (h *housing) openFor(r room) []int {
	found := []int{}
	rank := func(run int) int { return classRank(h.runs[run].Class()) - classRank(h.runs[max(0, r.first)].Class()) }
	from, end := h.m.b.holdsRun(r.f)
	for i, run := range h.runs {
		fits, _ := facility.FitsDog(run.Size(), r.size, h.m.in.Sites[0].FloorRule())
		if !fits || rank(i) < 0 && !h.smaller || h.closed(run, from, end) || h.banned(run, r.f.stay) {
			continue
		}
		found = append(found, i)
	}
	order := func(run int) int { // 0, 1, 2, 3 upward, then downward
		if n := rank(run); n >= 0 {
			return n
		}
		return len(facility.Classes()) - rank(run)
	}
	slices.SortStableFunc(found, func(a, b int) int { return cmp.Compare(order(a), order(b)) })
	return found
}

// closed reports whether a run is out of use on a night from first up to end.
func (h *housing) closed(run facility.Run, first, end int) bool {
	for night := first; night < end; night++ {
		if run.ClosedOn(h.m.b.date(night)) {
			return true
		}
	}
	return false
}

// moves lists the stays that have another run than was promised, by arrival and code.
func (h *housing) moves() (out []RunMove) {
	for x, r := range h.rooms {
		if h.spots[x].run != r.first {
			out = append(out, h.moveOf(x))
		}
	}
	slices.SortFunc(out, func(a, b RunMove) int {
		return firstOf(a.Nights.From.Compare(b.Nights.From), compareText(a.Request, b.Request))
	})
	return out
}

// moveOf is the move of one stay to the run that it has now.
func (h *housing) moveOf(x int) RunMove {
	r := h.rooms[x]
	c, from, to := h.m.cases[r.f.stay.RequestID], h.runs[r.first], h.runs[h.spots[x].run]
	move := RunMove{StayID: r.f.stay.ID, Request: c.Request.Code, DogCode: c.Dog.Code, DogName: c.Dog.Name, Nights: r.f.stay.Nights,
		From: from.ID, To: to.ID, FromRun: from.Code, ToRun: to.Code, stay: r.f.stay}
	if classRank(to.Class()) < classRank(from.Class()) {
		move.OwnerSees = "a smaller run, class " + string(to.Class()) + " instead of " + string(from.Class()) + "; the dog fits"
	}
	return move
}
