package dayplan

import (
	"slices"

	"github.com/longlead/longlead/services/dayblocks"
)

// wantBreaks are the breaks of a shift: the meal in its middle part, and the short ones spread over it.
func wantBreaks(shift dayblocks.Span, meal int) (breaks []dayblocks.Break, kinds []string) {
	length := shift.To - shift.From
	add := func(kind string, minutes, from, to int) {
		breaks = append(breaks, dayblocks.Break{Minutes: minutes, Within: dayblocks.Span{From: roundUp(from), To: to / step * step}})
		kinds = append(kinds, kind)
	}
	if meal > 0 {
		add(KindMeal, roundUp(meal), shift.From+length/4, shift.To-length/4)
	}
	n := min((length-meal)/restEvery, 5)
	for i := range n {
		part := length / n
		add(KindRest, restMinutes, shift.From+i*part+part/5, shift.From+(i+1)*part-part/8)
	}
	return breaks, kinds
}

// roomForBreaks makes sure that a trainer's breaks fit beside what is fixed: where they do not, those from a minute on may be at any later time
// of the shift, and where that does not help either the last one is given up and counted.
func roomForBreaks(d *dayblocks.Day, t *dayblocks.Trainer, kinds []string, since int) (left []string, lost int) {
	if d.BreaksFit(*t) {
		return kinds, 0
	}
	t.Breaks = slices.Clone(t.Breaks)
	for i := range t.Breaks {
		if t.Breaks[i].Within.From >= since {
			t.Breaks[i].Within = dayblocks.Span{From: max(since, t.Hours[0].From), To: t.Hours[0].To}
		}
	}
	for !d.BreaksFit(*t) {
		t.Breaks = t.Breaks[:len(t.Breaks)-1]
		lost++
	}
	return kinds[:len(t.Breaks)], lost
}

// free reports whether a trainer is at work throughout and not taken.
func free(t *dayblocks.Trainer, s dayblocks.Span) bool {
	in := slices.ContainsFunc(t.Hours, func(h dayblocks.Span) bool { return h.From <= s.From && s.To <= h.To })
	return in && !slices.ContainsFunc(t.Fixed, func(f dayblocks.Span) bool { return f.From < s.To && s.From < f.To })
}
