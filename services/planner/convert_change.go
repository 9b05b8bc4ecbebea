package planner

import (
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

func changesToProto(changes []Change) []*plannerv1.Change {
	var out []*plannerv1.Change
	for _, c := range changes {
		one := &plannerv1.Change{Kind: c.Kind, Text: c.Text, SiteCode: c.Site, Arrival: c.Arrival, TrainerCode: c.Trainer, Points: c.Points}
		for _, a := range c.Adds {
			one.Additions = append(one.Additions, &plannerv1.Addition{SiteCode: a.Site, Resource: a.Resource, Unit: a.Unit, FirstDay: a.First, LastDay: a.Last, Amount: int32(a.Amount)})
		}
		out = append(out, one)
	}
	return out
}

func (d *Displaced) toProto() *plannerv1.Displaced {
	if d == nil {
		return nil
	}
	return &plannerv1.Displaced{Points: d.Points, GivenUp: d.GivenUp, Moved: d.Moved, SiteCode: d.Site, Arrival: d.Arrival}
}

func (w *weighing) toProto() *plannerv1.Weighing {
	out := &plannerv1.Weighing{WithEverybody: w.withEverybody, NoPlace: w.noPlace, LostLeast: w.lostLeast, LostMost: w.lostMost, Best: w.best.toProto(),
		GainLeast: w.gainLeast, GainMost: w.gainMost, GainFound: w.gainFound}
	if w.change != nil {
		out.Change = changesToProto([]Change{*w.change})[0]
	}
	return out
}

func worthToProto(lines []worthLine) []*plannerv1.Worth {
	var out []*plannerv1.Worth
	for _, l := range lines {
		out = append(out, &plannerv1.Worth{SiteCode: l.site, Text: l.text, FirstDay: l.days.From.String(), LastDay: l.days.To.AddDays(-1).String(), Price: l.price,
			Checked: l.checked, GainFound: l.found, GainLeast: l.gainLeast, GainMost: l.gainMostEver})
	}
	return out
}
