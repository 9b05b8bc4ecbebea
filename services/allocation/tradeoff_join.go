package allocation

import "slices"

// joinKey tells whether plans were joined at a price before and nothing was learned since.
type joinKey struct {
	mu      int64
	learned int
}

// toJoin is a price at which the choices of the known plans were not put together anew yet: where the hull turns at the point.
func (c *curve) toJoin(i int) (mu int64, ok bool) {
	steep, flat, known := c.slopes(c.moves[i])
	if !known || c.moves[i] == 0 || len(c.plans) < 2 {
		return 0, false
	}
	mu = min(int64((steep+flat)/2), c.top)
	return mu, !c.joined[joinKey{mu, c.learned}]
}

// join searches among the choices of all known plans: where one plan gains by many moves and another makes none, this finds the
// moves that bring the most. It is a small problem, and proves nothing about the whole one.
func (c *curve) join(mu int64) error {
	c.joined[joinKey{mu, c.learned}] = true
	q := c.priced(mu, func(int) bool { return true })
	seen := make([][]Placement, len(q.Dogs))
	for m := 0; m <= c.count; m++ {
		for _, pl := range c.plans[m].placements {
			if !slices.Contains(seen[pl.Dog], pl) {
				seen[pl.Dog] = append(seen[pl.Dog], pl)
			}
		}
	}
	for d := range q.Dogs {
		q.Dogs[d].Placements = only(q.Dogs[d].Placements, seen[d])
	}
	_, err := c.search(q, c.start0(mu))
	c.joined[joinKey{mu, c.learned}] = true
	return err
}

// only leaves the groups, runs and trainers that some placement takes.
func only(groups []Group, seen []Placement) []Group {
	var out []Group
	for _, g := range groups {
		var runs []RunOption
		var trainers []TrainerOption
		takes := func(which func(Placement) bool) bool {
			return slices.ContainsFunc(seen, func(pl Placement) bool { return pl.Site == g.Site && pl.Arrival == g.Arrival && which(pl) })
		}
		for _, r := range g.Runs {
			if takes(func(pl Placement) bool { return pl.Run == r.Class }) {
				runs = append(runs, r)
			}
		}
		for _, t := range g.Trainers {
			if takes(func(pl Placement) bool { return pl.Trainer == t.Trainer }) {
				trainers = append(trainers, t)
			}
		}
		if len(runs) > 0 {
			g.Runs, g.Trainers = runs, trainers
			out = append(out, g)
		}
	}
	return out
}
