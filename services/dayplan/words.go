package dayplan

import (
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/workload"
)

// words says why a session is dropped, and what would help.
func (t *task) words(x dayblocks.Dropped) (reason, remedy string) {
	if run := t.in.Guests[x.Dog].Isolated; run != "" {
		return "it is isolated in run " + run, "nothing on the day: a veterinarian says when it may work again, and whether alone"
	}
	minutes := t.day.Dogs[x.Dog].Sessions[x.Session].Minutes
	who := t.suitable(x.Dog)
	if who == "" {
		return fmt.Sprintf("nobody who is at work may work with it: that takes %s", needWords(t.needs[x.Dog])),
			"a trainer on loan for the day who may, or a shift of one who has the day off"
	}
	aside := t.closedWords(x.Dog)
	switch x.Reason {
	case dayblocks.NeverPossible:
		return t.neverWords(x, who, minutes, aside)
	case dayblocks.DogFull:
		return fmt.Sprintf("the dog's other sessions, with %d minutes of rest between them and its meals, leave no room while %s can be there%s", dogRest, who, aside),
			"a shift that begins earlier or ends later; whether the dog can do with less rest a person decides"
	case dayblocks.NoTrainer:
		return fmt.Sprintf("none of those who may hold it is free when the dog is: %s%s", who, aside),
			fmt.Sprintf("%d minutes more of one of them", minutes+changeover)
	case dayblocks.NoArea:
		return fmt.Sprintf("no area is free when the dog and %s are%s", who, aside), "one more area, or room for one more dog in one"
	case dayblocks.NoSecond:
		return fmt.Sprintf("two people must be with it, and no second one who holds care class %s is free when dog, trainer and area are%s", t.needs[x.Dog].Care, aside),
			fmt.Sprintf("%d minutes more of somebody who does", minutes+changeover)
	default:
		return "there is room, but only where it costs more points than the session is worth, such as changes for many others", "plan the day anew if the others may change"
	}
}

// neverWords says why a session could not be held were it the only one of the day: what it could be held without is the reason.
func (t *task) neverWords(x dayblocks.Dropped, who string, minutes int, aside string) (reason, remedy string) {
	dog := t.day.Dogs[x.Dog]
	s := dog.Sessions[x.Session]
	places := func(heat, closures bool) []dayblocks.Place {
		out := slices.Clone(s.Areas)
		for n := range out {
			out[n].Closed = nil
			if t.redo != nil {
				out[n].Closed = append(out[n].Closed, t.within(0, t.redo.since))
			}
			if heat && t.in.Areas[out[n].Area].Outdoors {
				out[n].Closed = append(out[n].Closed, t.hot[x.Dog]...)
			}
			if closures {
				out[n].Closed = append(append(out[n].Closed, t.closed[out[n].Area]...), t.quiet[out[n].Area]...)
			}
		}
		return out
	}
	some := func(c []dayblocks.Span) bool { return len(c) > 0 }
	hot, shut := len(t.hot[x.Dog]) > 0, slices.ContainsFunc(t.closed, some) || slices.ContainsFunc(t.quiet, some)
	indoors := "an area indoors that is free then, or a cooler day; the limit holds whatever is planned"
	switch {
	case dog.Two && t.possible(&dog, s, false, s.Areas):
		return fmt.Sprintf("two people must be with it, and no second one who holds care class %s is at work when the dog and %s are", t.needs[x.Dog].Care, who),
			"one more person who does, at that time"
	case hot && t.possible(&dog, s, dog.Two, places(false, true)):
		return fmt.Sprintf("it is too hot outdoors when the dog and %s are free%s", who, aside), indoors
	case shut && t.possible(&dog, s, dog.Two, places(true, false)):
		return fmt.Sprintf("no area is open when the dog and %s are free%s", who, aside), "another area, or an earlier end of the closure"
	case hot && shut && t.possible(&dog, s, dog.Two, places(false, false)):
		return fmt.Sprintf("it is too hot outdoors, and no other area is open, when the dog and %s are free%s", who, aside), indoors
	}
	return fmt.Sprintf("%s, an open area and the dog are never free together for %d minutes, whatever else is planned%s", who, minutes, aside),
		"longer hours of one of them, or another time for the dog's arrival or handover"
}

// possible reports whether a session could be held on a day with nothing else, breaks left aside, in some places and with a second person or
// not.
func (t *task) possible(dog *dayblocks.Dog, s dayblocks.Session, two bool, places []dayblocks.Place) bool {
	meets := func(spans []dayblocks.Span, at dayblocks.Span) bool {
		return slices.ContainsFunc(spans, func(c dayblocks.Span) bool { return c.From < at.To && at.From < c.To })
	}
	for from := 0; from+s.Minutes <= t.day.Minutes; from += step {
		at, busy := dayblocks.Span{From: from, To: from + s.Minutes}, dayblocks.Span{From: from, To: from + s.Minutes + changeover}
		if meets(dog.Away, at) || !slices.ContainsFunc(places, func(p dayblocks.Place) bool {
			open := slices.ContainsFunc(t.day.Areas[p.Area].Open, func(o dayblocks.Span) bool { return o.From <= at.From && at.To <= o.To })
			return open && !meets(p.Closed, at)
		}) {
			continue
		}
		for _, h := range s.Handlers {
			if free(&t.day.Trainers[h.Trainer], busy) && (!two || slices.ContainsFunc(s.Seconds, func(o dayblocks.Choice) bool {
				return o.Trainer != h.Trainer && free(&t.day.Trainers[o.Trainer], busy)
			})) {
				return true
			}
		}
	}
	return false
}

// closedWords says what is closed for a guest on the day, to go behind a reason; empty when nothing is.
func (t *task) closedWords(guest int) string {
	var words []string
	outdoors := slices.ContainsFunc(t.in.Areas, func(a facility.Area) bool { return a.Outdoors })
	if outdoors && len(t.hot[guest]) > 0 {
		words = append(words, "outdoors is closed for it in the heat "+t.spanWords(t.hot[guest]))
	}
	for n, closed := range t.closed {
		if len(closed) > 0 {
			words = append(words, t.in.Areas[n].Code+" is closed "+t.spanWords(joined(closed)))
		}
		if len(t.quiet[n]) > 0 {
			words = append(words, t.in.Areas[n].Code+" is kept for handovers "+t.spanWords(joined(t.quiet[n])))
		}
	}
	if len(words) == 0 {
		return ""
	}
	return "; " + strings.Join(words, ", ")
}

// needWords says what a trainer must hold.
func needWords(need workload.Need) string {
	words := []string{"care class " + string(need.Care)}
	for _, skill := range workload.Skills() {
		if level := need.Skills[skill]; level > 0 {
			words = append(words, fmt.Sprintf("%s %d", skill, level))
		}
	}
	return strings.Join(words, ", ")
}
