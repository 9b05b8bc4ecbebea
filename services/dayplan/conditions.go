package dayplan

import (
	"slices"
	"strings"

	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/workload"
)

// addClosures reads when areas are out of use. They bind each session by itself rather than the area, so that what was held there before may
// stand in a plan that is made anew.
func (t *task) addClosures() error {
	t.closed, t.quiet = make([][]dayblocks.Span, len(t.in.Areas)), make([][]dayblocks.Span, len(t.in.Areas))
	for n, a := range t.in.Areas {
		for _, c := range t.in.Closures {
			if c.AreaID != a.ID {
				continue
			}
			s := t.within(max(0, t.clock.minute(c.From))/step*step, t.clock.minuteUp(c.To))
			t.closed[n] = append(t.closed[n], s)
			t.note("%s is closed %s: %s.", a.Code, t.spanWords([]dayblocks.Span{s}), c.Reason)
		}
	}
	return nil
}

// closedFor is when a guest may not be in an area: out of use, kept for a handover, or too hot.
func (t *task) closedFor(guest, area int) []dayblocks.Span {
	closed := slices.Concat(t.closed[area], t.quiet[area])
	if t.in.Areas[area].Outdoors {
		closed = append(closed, t.hot[guest]...)
	}
	return closed
}

// needsTwo reports whether two people must be with a guest.
func (t *task) needsTwo(i int) bool { return t.in.Guests[i].Traits.TwoPeople == workload.Yes }

// secondsOf lists who may be the second person with a guest that needs two: whoever holds its care class, as that says who may handle it. It
// is nil for any other guest, and empty where there is nobody.
func (t *task) secondsOf(i int) []dayblocks.Choice {
	if !t.needsTwo(i) {
		return nil
	}
	choices := []dayblocks.Choice{}
	for n, trainer := range t.trainers {
		if t.handles[n] && slices.Contains(trainer.CareClasses, string(t.needs[i].Care)) {
			choices = append(choices, dayblocks.Choice{Trainer: n})
		}
	}
	return choices
}

// addApart keeps apart the dogs that must not meet, and says so.
func (t *task) addApart() error {
	var pairs, two, unknown []string
	for _, p := range t.in.Apart {
		var pair [2]int
		for i, g := range t.in.Guests {
			switch g.Case.Dog.ID {
			case p.DogID:
				pair[0] = i
			case p.OtherID:
				pair[1] = i
			}
		}
		if pair[0] > pair[1] {
			pair[0], pair[1] = pair[1], pair[0]
		}
		t.day.Apart = append(t.day.Apart, pair)
		pairs = append(pairs, t.in.Guests[pair[0]].Case.Dog.Code+" and "+t.in.Guests[pair[1]].Case.Dog.Code+" ("+p.Reason+")")
	}
	for i, g := range t.in.Guests {
		switch {
		case t.needsTwo(i):
			two = append(two, g.Case.Dog.Code)
		case g.Traits.TwoPeople == workload.NotRecorded && t.needs[i].Care == workload.Restricted:
			unknown = append(unknown, g.Case.Dog.Code)
		}
	}
	slices.Sort(pairs)
	if len(pairs) > 0 {
		t.note("Never in one area at once: %s. On the way there and back, and past runs and gates, people keep them apart.", strings.Join(pairs, "; "))
	}
	if len(two) > 0 {
		t.note("Two people are with %s throughout; the second holds its care class. Nobody begins before both are there.", strings.Join(two, ", "))
	}
	if len(unknown) > 0 {
		t.note("Nobody recorded whether two people must be with %s, of care class restricted: one is planned. Ask before anybody begins.", strings.Join(unknown, ", "))
	}
	return nil
}
