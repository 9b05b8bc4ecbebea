package dayplan

import (
	"slices"

	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/roster"
)

// absence is what must hold when a day is planned anew because a trainer is gone from some time on.
type absence struct {
	trainer roster.Trainer
	// from is the minute from which on the trainer is gone; what begins before it stays, except what the trainer could not end.
	from   int
	before *Plan

	// leaves is when the trainer's day ends: from, or the changeover after the last block before it.
	leaves int
	was    map[wasKey]was
	breaks map[ids.TrainerID][]pauseWas
	duties map[dutyKey]dutyWas
	// busy is what cannot move: breaks, and blocks before the time with their changeovers.
	busy map[ids.TrainerID][]dayblocks.Span
}

type wasKey struct {
	dog     ids.DogID
	session int
}

type was struct {
	trainer ids.TrainerID
	area    ids.AreaID
	span    dayblocks.Span
	// past blocks stay as they were.
	past bool
}

type pauseWas struct {
	kind string
	span dayblocks.Span
}

type dutyKey struct {
	dog  ids.DogID
	kind string
}

type dutyWas struct {
	trainer ids.TrainerID
	span    dayblocks.Span
}

// setOut reads the plan before in minutes.
func (a *absence) setOut(c dayClock) {
	a.leaves = a.from
	a.was, a.breaks = map[wasKey]was{}, map[ids.TrainerID][]pauseWas{}
	a.duties, a.busy = map[dutyKey]dutyWas{}, map[ids.TrainerID][]dayblocks.Span{}
	for _, b := range a.before.Blocks {
		w := was{trainer: b.TrainerID, area: b.AreaID, span: dayblocks.Span{From: c.minute(b.From), To: c.minute(b.To)}}
		if b.TrainerID == a.trainer.ID {
			w.past = w.span.To <= a.from
		} else {
			w.past = w.span.From < a.from
		}
		a.was[wasKey{b.DogID, b.Session}] = w
		if w.past {
			end := w.span.To + changeover
			a.busy[b.TrainerID] = append(a.busy[b.TrainerID], dayblocks.Span{From: w.span.From, To: end})
			if b.TrainerID == a.trainer.ID {
				a.leaves = max(a.leaves, end)
			}
		}
	}
	for _, p := range a.before.Pauses {
		w := pauseWas{p.Kind, dayblocks.Span{From: c.minute(p.From), To: c.minute(p.To)}}
		if p.TrainerID == a.trainer.ID && w.span.To > a.from {
			continue
		}
		a.breaks[p.TrainerID] = append(a.breaks[p.TrainerID], w)
		a.busy[p.TrainerID] = append(a.busy[p.TrainerID], w.span)
	}
	for _, d := range a.before.Duties {
		a.duties[dutyKey{d.DogID, d.Kind}] = dutyWas{d.TrainerID, dayblocks.Span{From: c.minute(d.From), To: c.minute(d.To)}}
	}
}

// knows reports whether a trainer was in the plan before.
func (a *absence) knows(trainer ids.TrainerID) bool {
	if trainer == a.trainer.ID || len(a.breaks[trainer]) > 0 {
		return true
	}
	return slices.ContainsFunc(a.before.Blocks, func(b Block) bool { return b.TrainerID == trainer })
}

// breaksOf are a trainer's breaks, where they were.
func (a *absence) breaksOf(trainer ids.TrainerID) (breaks []dayblocks.Break, kinds []string) {
	for _, p := range a.breaks[trainer] {
		breaks = append(breaks, dayblocks.Break{Minutes: p.span.To - p.span.From, Within: p.span})
		kinds = append(kinds, p.kind)
	}
	return breaks, kinds
}

func (a *absence) dutyOf(dog ids.DogID, kind string) (dutyWas, bool) {
	d, ok := a.duties[dutyKey{dog, kind}]
	return d, ok
}

// hold makes a session stay where it was: at all costs before the time, for points after it.
func (a *absence) hold(t *task, dog, session int, s *dayblocks.Session) {
	w, held := a.was[wasKey{t.in.Guests[dog].Case.Dog.ID, session + 1}]
	if held && w.past {
		a.pin(t, w, s)
		return
	}
	for n := range s.Areas {
		p := &s.Areas[n]
		p.Closed = append(p.Closed, t.within(0, a.from))
		if held && t.area(p.Area).ID != w.area {
			p.Points += pointsOtherArea
		}
	}
	if !held {
		return
	}
	s.Kept = dayblocks.Kept{Start: w.span.From, Points: pointsOtherTime}
	if w.trainer == a.trainer.ID {
		return
	}
	for n := range s.Handlers {
		if t.trainers[s.Handlers[n].Trainer].ID != w.trainer {
			s.Handlers[n].Points += pointsOtherTrainer
		}
	}
}

// pin leaves a session no choice. Where the trainer or area is not known any more nothing can be kept.
func (a *absence) pin(t *task, w was, s *dayblocks.Session) {
	s.Extra = pointsPast
	n, known := t.trainerAt[w.trainer]
	if !known {
		return
	}
	s.Handlers = []dayblocks.Choice{{Trainer: n}}
	s.Minutes = w.span.To - w.span.From
	for n := range t.in.Areas {
		if t.in.Areas[n].ID == w.area {
			s.Areas = []dayblocks.Place{{Area: n, Closed: []dayblocks.Span{t.within(0, w.span.From), t.within(w.span.To, t.day.Minutes)}}}
		}
	}
}

// start is the plan before as far as the solver can begin from it.
func (a *absence) start(t *task) (blocks []dayblocks.Block, rests [][]int) {
	for i := range t.in.Guests {
		for j := range t.day.Dogs[i].Sessions {
			w, held := a.was[wasKey{t.in.Guests[i].Case.Dog.ID, j + 1}]
			n, known := t.trainerAt[w.trainer]
			at := slices.IndexFunc(t.in.Areas, func(x facility.Area) bool { return x.ID == w.area })
			if held && known && at >= 0 {
				blocks = append(blocks, dayblocks.Block{Dog: i, Session: j, Trainer: n, Second: -1, Area: at, Start: w.span.From})
			}
		}
	}
	for _, x := range t.day.Trainers {
		var own []int
		for _, b := range x.Breaks {
			own = append(own, b.Within.From)
		}
		rests = append(rests, own)
	}
	return blocks, rests
}
