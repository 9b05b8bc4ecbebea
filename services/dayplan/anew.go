package dayplan

import (
	"slices"

	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/roster"
)

// anew is what must hold when the rest of a day is planned once more, because something has changed: a trainer is gone, or an area is closed, or
// heat has come, which the inputs know by then.
type anew struct {
	// since is the minute from which on it is planned; what begins before it stays, except what the trainer who is gone could not end.
	since  int
	before *Plan
	// trainer is who is gone from then on; the zero value for nobody.
	trainer roster.Trainer

	// leaves is when the day of whoever is gone ends: since, or the changeover after the last block before it.
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
	second  ids.TrainerID
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

// isGone reports whether a trainer is who is gone.
func (a *anew) isGone(trainer ids.TrainerID) bool {
	return a != nil && !trainer.IsZero() && trainer == a.trainer.ID
}

// setOut reads the plan before in minutes.
func (a *anew) setOut(c dayClock) {
	a.leaves = a.since
	a.was, a.breaks = map[wasKey]was{}, map[ids.TrainerID][]pauseWas{}
	a.duties, a.busy = map[dutyKey]dutyWas{}, map[ids.TrainerID][]dayblocks.Span{}
	for _, b := range a.before.Blocks {
		w := was{trainer: b.TrainerID, second: b.SecondID, area: b.AreaID, span: dayblocks.Span{From: c.minute(b.From), To: c.minute(b.To)}}
		gone := a.isGone(b.TrainerID) || a.isGone(b.SecondID)
		w.past = w.span.From < a.since
		if gone {
			w.past = w.span.To <= a.since
		}
		a.was[wasKey{b.DogID, b.Session}] = w
		if w.past {
			end := w.span.To + changeover
			for _, who := range []ids.TrainerID{b.TrainerID, b.SecondID} {
				a.busy[who] = append(a.busy[who], dayblocks.Span{From: w.span.From, To: end})
			}
			if gone {
				a.leaves = max(a.leaves, end)
			}
		}
	}
	for _, p := range a.before.Pauses {
		w := pauseWas{p.Kind, dayblocks.Span{From: c.minute(p.From), To: c.minute(p.To)}}
		if a.isGone(p.TrainerID) && w.span.To > a.since {
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
func (a *anew) knows(trainer ids.TrainerID) bool {
	if a.isGone(trainer) || len(a.breaks[trainer]) > 0 {
		return true
	}
	return slices.ContainsFunc(a.before.Blocks, func(b Block) bool { return b.TrainerID == trainer || b.SecondID == trainer })
}

// breaksOf are a trainer's breaks, where they were. One that has not begun, and whose time a handover has taken since, may be at any later one.
func (a *anew) breaksOf(trainer ids.TrainerID, x *dayblocks.Trainer) (breaks []dayblocks.Break, kinds []string) {
	for _, p := range a.breaks[trainer] {
		within := p.span
		if p.span.From >= a.since && slices.ContainsFunc(x.Fixed, func(f dayblocks.Span) bool { return f.From < p.span.To && p.span.From < f.To }) {
			within = dayblocks.Span{From: max(a.since, x.Hours[0].From), To: x.Hours[0].To}
		}
		breaks = append(breaks, dayblocks.Break{Minutes: p.span.To - p.span.From, Within: within})
		kinds = append(kinds, p.kind)
	}
	return breaks, kinds
}

func (a *anew) dutyOf(dog ids.DogID, kind string) (dutyWas, bool) {
	d, ok := a.duties[dutyKey{dog, kind}]
	return d, ok
}

// hold makes a session stay where it was: at all costs before the time, for points after it.
func (a *anew) hold(t *task, dog, session int, s *dayblocks.Session) {
	w, held := a.was[wasKey{t.in.Guests[dog].Case.Dog.ID, session + 1}]
	if held && w.past {
		a.pin(t, dog, w, s)
		return
	}
	for n := range s.Areas {
		p := &s.Areas[n]
		p.Closed = append(p.Closed, t.within(0, a.since))
		if held && t.area(p.Area).ID != w.area {
			p.Points += pointsOtherArea
		}
	}
	if !held {
		return
	}
	s.Kept = dayblocks.Kept{Start: w.span.From, Points: pointsOtherTime}
	a.stay(t, s.Handlers, w.trainer)
	a.stay(t, s.Seconds, w.second)
}

// stay makes anybody else than who it was cost points, unless that one is gone.
func (a *anew) stay(t *task, choices []dayblocks.Choice, who ids.TrainerID) {
	if who.IsZero() || a.isGone(who) {
		return
	}
	for n := range choices {
		if t.trainers[choices[n].Trainer].ID != who {
			choices[n].Points += pointsOtherTrainer
		}
	}
}

// pin leaves a session no choice, also where it is closed by now. Where the trainer or area is not known any more nothing can be kept.
func (a *anew) pin(t *task, dog int, w was, s *dayblocks.Session) {
	s.Extra = pointsPast
	n, known := t.trainerAt[w.trainer]
	if !known {
		return
	}
	s.Handlers = []dayblocks.Choice{{Trainer: n}}
	if second, known := t.trainerAt[w.second]; known {
		s.Seconds = []dayblocks.Choice{{Trainer: second}}
	}
	s.Minutes = w.span.To - w.span.From
	for n := range t.in.Areas {
		if t.in.Areas[n].ID == w.area {
			s.Areas = []dayblocks.Place{{Area: n, Closed: []dayblocks.Span{t.within(0, w.span.From), t.within(w.span.To, t.day.Minutes)}}}
			a.underWay(t, dog, n, w)
		}
	}
}

// underWay tells of a block that goes on in a place which is closed for the dog.
func (a *anew) underWay(t *task, dog, area int, w was) {
	rest := dayblocks.Span{From: max(w.span.From, a.since), To: w.span.To}
	if slices.ContainsFunc(t.closedFor(dog, area), func(c dayblocks.Span) bool { return c.From < rest.To && rest.From < c.To }) {
		t.note("%s is in %s until %s, which is closed for it meanwhile: stop that session, or move it, by word of mouth now.", t.in.Guests[dog].Case.Dog.Code,
			t.in.Areas[area].Code, t.clock.local(t.clock.instant(w.span.To)))
	}
}

// start is the plan before as far as the solver can begin from it.
func (a *anew) start(t *task) (blocks []dayblocks.Block, rests [][]int) {
	for i := range t.in.Guests {
		for j := range t.day.Dogs[i].Sessions {
			w, held := a.was[wasKey{t.in.Guests[i].Case.Dog.ID, j + 1}]
			n, known := t.trainerAt[w.trainer]
			at := slices.IndexFunc(t.in.Areas, func(x facility.Area) bool { return x.ID == w.area })
			if held && known && at >= 0 {
				second, known := t.trainerAt[w.second]
				if !known {
					second = -1
				}
				blocks = append(blocks, dayblocks.Block{Dog: i, Session: j, Trainer: n, Second: second, Area: at, Start: w.span.From})
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
