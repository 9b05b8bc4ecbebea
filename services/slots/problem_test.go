package slots_test

import (
	"math/rand/v2"
	"slices"

	"github.com/longlead/longlead/services/slots"
)

// few picks some of n numbers with points.
func few(r *rand.Rand, n, points int) (out []slots.Choice) {
	for k := range n {
		if k == 0 && r.IntN(6) > 0 || r.IntN(3) > 0 {
			out = append(out, slots.Choice{Of: k, Points: r.IntN(points)})
		}
	}
	return out
}

// others are the numbers below n that are not among the choices.
func others(list []slots.Choice, n int) (out []int) {
	for k := range n {
		if !slices.ContainsFunc(list, func(c slots.Choice) bool { return c.Of == k }) {
			out = append(out, k)
		}
	}
	return out
}

// smallProblem is a random problem of one or two days on a coarse grid, in which every rule and cost can matter.
func smallProblem(r *rand.Rand, visits, steps int) *slots.Problem {
	const step = 15
	days := 1 + r.IntN(2)
	all := days * steps * step
	span := func(longest int) slots.Span {
		from := r.IntN(all)
		return slots.Span{From: from, To: min(all, from+1+r.IntN(longest*step))}
	}
	p := &slots.Problem{Step: step, Minutes: all, Pause: 5 * r.IntN(5)}
	for d := range days {
		p.Days = append(p.Days, slots.Day{Open: slots.Span{From: d*steps*step + 10*r.IntN(3), To: (d+1)*steps*step - 10*r.IntN(3)}, Places: r.IntN(visits + 1)})
	}
	for range 1 + r.IntN(3) {
		t := slots.Trainer{Free: []slots.Span{{From: 0, To: all - r.IntN(40)}}}
		if r.IntN(2) == 0 {
			t.Free = []slots.Span{span(steps), span(steps), span(steps)}
		}
		p.Trainers = append(p.Trainers, t)
	}
	for range 1 + r.IntN(2) {
		p.Areas = append(p.Areas, slots.Area{Room: r.IntN(3), Open: []slots.Span{{From: 0, To: all}, span(3)}})
		g := slots.Gate{Spacing: 5 * r.IntN(8)}
		g.Passing = r.IntN(g.Spacing + 1)
		p.Gates = append(p.Gates, g)
	}
	for range r.IntN(3) {
		f := slots.Fixed{Span: span(3), Trainer: r.IntN(len(p.Trainers)+1) - 1, Area: r.IntN(len(p.Areas)+1) - 1, Gate: r.IntN(len(p.Gates)+1) - 1, Handover: r.IntN(2) == 0}
		p.Fixed = append(p.Fixed, f)
	}
	for range visits {
		v := slots.Visit{Minutes: 15 + 5*r.IntN(9), Trainers: few(r, len(p.Trainers), 9), Areas: few(r, len(p.Areas), 5), Gates: few(r, len(p.Gates), 4), Miss: 10 + r.IntN(40)}
		v.Least = v.Minutes - 5*r.IntN(3)
		v.OtherTrainers, v.OtherAreas = others(v.Trainers, len(p.Trainers)), others(v.Areas, len(p.Areas))
		for range 1 + r.IntN(2) {
			v.Windows = append(v.Windows, slots.Window{Span: slots.Span{From: r.IntN(all / 2), To: all - r.IntN(all/3)}, Points: r.IntN(9)})
			if w := &v.Windows[len(v.Windows)-1]; w.From > w.To {
				w.From, w.To = w.To, w.From
			}
		}
		if r.IntN(3) == 0 {
			v.Kept = slots.Kept{Slot: slots.Slot{Begin: step * r.IntN(days*steps)}, Moved: r.IntN(12), Changed: r.IntN(6)}
		}
		p.Visits = append(p.Visits, v)
	}
	return p
}

// siteMonth is a made-up site: on each of so many days so many dogs go home, each with its own trainer or one who could stand in, in one of two
// areas, through one gate that arrivals use as well. Owners who come from far can make a part of the day only.
func siteMonth(seed uint64, days, each int) *slots.Problem {
	r := rand.New(rand.NewPCG(seed, 3))
	const day, step, trainers = 24 * 60, 15, 6
	p := &slots.Problem{Step: step, Minutes: days * day, Pause: 10, Trainers: make([]slots.Trainer, trainers), Gates: []slots.Gate{{Spacing: 15, Passing: 10}}}
	p.Areas = []slots.Area{{Room: 1}, {Room: 2}}
	for d := range days {
		at := func(hour, minute int) int { return d*day + hour*60 + minute }
		p.Days = append(p.Days, slots.Day{Open: slots.Span{From: at(9, 0), To: at(18, 0)}, Places: each - r.IntN(2)})
		for t := range p.Trainers {
			from, lunch := at(8+r.IntN(2), 0), at(12+r.IntN(2), 0)
			p.Trainers[t].Free = append(p.Trainers[t].Free, slots.Span{From: from, To: lunch}, slots.Span{From: lunch + 30, To: from + 510})
		}
		for a := range p.Areas {
			p.Areas[a].Open = append(p.Areas[a].Open, slots.Span{From: at(9, 0), To: at(12, 30)}, slots.Span{From: at(13, 0), To: at(18, 0)})
		}
		for range 1 + r.IntN(4) {
			from := at(9+r.IntN(6), 15*r.IntN(4))
			p.Fixed = append(p.Fixed, slots.Fixed{Span: slots.Span{From: from, To: from + 45}, Trainer: r.IntN(trainers), Area: -1, Gate: 0})
		}
		for n := range each {
			own := (n + d) % trainers
			v := slots.Visit{Minutes: 60 + 15*r.IntN(5), Least: 60, Miss: 1000, Gates: []slots.Choice{{}}, Areas: []slots.Choice{{Of: 0}, {Of: 1, Points: 2}},
				Trainers: []slots.Choice{{Of: own}, {Of: (own + 1) % trainers, Points: 40}}}
			from := at(9+r.IntN(4), 0)
			v.Windows = []slots.Window{{Span: slots.Span{From: from, To: at(18, 0)}, Points: 10}, {Span: slots.Span{From: from + 60, To: from + 60*(4+r.IntN(3))}}}
			p.Visits = append(p.Visits, v)
		}
	}
	return p
}
