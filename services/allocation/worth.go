package allocation

import (
	"cmp"
	"slices"
)

// Addition is one more of something at a site on the days from Day to Last: a run for those nights; an intake or handover place on each day
// that has some; or, of kind TrainerMinutes, room for one more dog with a trainer: Minutes and one dog in hand on each day the
// trainer works, which are minutes of the site as well. Price is what the prices say it is worth, in points.
type Addition struct {
	Resource
	Last, Minutes int
	Price         float64
}

// Additions lists what could be added, the dearest first, with its price: the sum of the prices of all it consists of. first
// holds the first days of the spans, ascending, each of which ends before the next; minutes is what a trainer's further dog is
// reckoned with. Those without a price are left out.
func Additions(p *Problem, prices Prices, first []int, minutes int) []Addition {
	var out []Addition
	add := func(a Addition) {
		for _, e := range a.Change(p).Extras {
			a.Price += float64(e.Amount) * prices.of(e.Resource)
		}
		if a.Price > 0 {
			out = append(out, a)
		}
	}
	for i, day := range first {
		last := p.Days - 1
		if i+1 < len(first) {
			last = first[i+1] - 1
		}
		for s := range p.Sites {
			at := Resource{Site: s, Class: -1, Trainer: -1, Day: day}
			for _, at.Kind = range []ResourceKind{IntakePlace, HandoverPlace} {
				add(Addition{Resource: at, Last: last})
			}
			at.Kind = RunNight
			for at.Class = range p.Sites[s].Runs {
				add(Addition{Resource: at, Last: last})
			}
		}
		for t := range p.Trainers {
			add(Addition{Resource{TrainerMinutes, p.Trainers[t].Site, -1, t, day}, last, minutes, 0})
		}
	}
	slices.SortStableFunc(out, func(a, b Addition) int { return cmp.Compare(b.Price, a.Price) })
	return out
}

// of is the price of one unit of a resource.
func (p *Prices) of(r Resource) float64 {
	switch r.Kind {
	case RunNight:
		return p.Sites[r.Site].Runs[r.Class][r.Day]
	case IntakePlace:
		return p.Sites[r.Site].Intake[r.Day]
	case HandoverPlace:
		return p.Sites[r.Site].Handover[r.Day]
	case SiteMinutes:
		return p.Sites[r.Site].Minutes[r.Day]
	case TrainerMinutes:
		return p.Trainers[r.Trainer].Minutes[r.Day]
	}
	return p.Trainers[r.Trainer].Dogs[r.Day]
}

// Change is an addition as a change.
func (a Addition) Change(p *Problem) Change {
	var c Change
	for day := a.Day; day <= a.Last; day++ {
		r := a.Resource
		r.Day = day
		site := &p.Sites[r.Site]
		add := func(kind ResourceKind, amount int) {
			r.Kind = kind
			if kind == SiteMinutes {
				r.Trainer = -1
			}
			c.Extras = append(c.Extras, Extra{r, amount})
		}
		switch {
		case a.Kind == HandoverPlace && day < p.Days && site.Handover[day] > 0:
			add(HandoverPlace, 1)
		case day >= p.Days-1:
		case a.Kind == RunNight, a.Kind == IntakePlace && site.Intake[day] > 0:
			add(a.Kind, 1)
		case a.Kind == TrainerMinutes && p.Trainers[a.Trainer].Works[day]:
			add(TrainerMinutes, a.Minutes)
			add(TrainerDogs, 1)
			if site.Minutes != nil {
				add(SiteMinutes, a.Minutes)
			}
		}
	}
	return c
}

// Worth holds the price of an addition against solving with it. The true gain, from the best plan without to the best plan with it,
// lies between Least and Most (both proven); Found is the difference between the two plans found. Apart is how far the
// price lies from Found.
type Worth struct {
	Addition
	After              Solution
	Least, Most, Found int64
	Apart              float64
}

// CheckWorth solves p with an addition, from the plan before, which is what Solve returned for p. Its time is that of Solve; o.Warm is
// not used.
func CheckWorth(p *Problem, before Solution, a Addition, o Options) (Worth, error) {
	q, err := a.Change(p).Apply(p)
	if err != nil {
		return Worth{}, err
	}
	o.Warm = before.Placements
	after, err := Solve(q, o)
	if err != nil {
		return Worth{}, err
	}
	out := Worth{Addition: a, After: after, Found: after.Value - before.Value}
	out.Least, out.Most = GainBetween(before, after)
	out.Apart = a.Price - float64(out.Found)
	if out.Apart < 0 {
		out.Apart = -out.Apart
	}
	return out, nil
}

// GainBetween is the least and the most by which the best plan of a problem with more room can be better than the best plan of the
// problem without, as far as plans and bounds of both prove it. What bounds the larger problem bounds the smaller as well.
func GainBetween(before, after Solution) (least, most int64) {
	bound := min(before.Bound, after.Bound)
	return max(0, after.Value-bound), max(0, after.Bound-before.Value)
}
