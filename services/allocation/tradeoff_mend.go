package allocation

import (
	"cmp"
	"slices"
)

// putBackFrom makes plans with fewer moves from one that was found: promises are put back, those that cost least first, and the
// plan is put together anew without searching. Each number of moves that is asked for on the way is learned.
func (c *curve) putBackFrom(plan []Placement) error {
	m := newMender(c, plan)
	moved := m.movedDogs()
	for i := len(c.moves) - 1; i >= 0; i-- {
		n := c.moves[i]
		if len(moved) <= n {
			continue
		}
		if len(moved) > n+mostTried {
			slices.SortStableFunc(moved, func(a, b int) int { return cmp.Compare(m.lost(b), m.lost(a)) })
			m.putBack(moved[n+mostTried:])
		}
		for moved = m.movedDogs(); len(moved) > n; moved = m.movedDogs() {
			// A few at a time where there are many, as each round tries all of them.
			m.putBack(m.cheapest(moved)[:max(1, (len(moved)-n)/4)])
		}
		var made []Placement
		for _, x := range m.build() {
			made = append(made, x.Placement)
		}
		if err := c.learn(made); err != nil {
			return err
		}
	}
	return nil
}

// mostTried is how many promises beyond those that may move are tried one by one; the rest is judged by their own points.
const mostTried = 48

// toPolish is a plan for a point that was not searched around yet: the one that uses all its moves before the most valuable one,
// as that is often put together only.
func (c *curve) toPolish(i int) (plan knownPlan, ok bool) {
	for _, m := range []int{c.moves[i], c.mostValued(c.moves[i])} {
		if x, known := c.plans[m]; known && m > 0 && !c.polished[polishKey{m, x.value}] {
			return x, true
		}
	}
	return knownPlan{}, false
}

func (c *curve) mostValued(n int) int {
	moves, _, _ := c.best(n)
	return moves
}

// polish searches for the best plan that keeps all promises that a plan keeps.
func (c *curve) polish(plan knownPlan) error {
	c.polished[polishKey{c.movesOf(plan.placements), plan.value}] = true
	free := make([]bool, len(c.p.Dogs))
	for _, d := range newMender(c, plan.placements).movedDogs() {
		free[d] = true
	}
	s, err := c.search(c.priced(c.base, func(dog int) bool { return free[dog] }), plan.placements)
	if err == nil {
		value, _ := Check(c.p, s.Placements)
		c.polished[polishKey{c.movesOf(s.Placements), value}] = true
	}
	return err
}

// polishKey tells plans apart well enough not to search around one twice.
type polishKey struct {
	moves int
	value int64
}

// mender puts plans together from a plan and the promises in it that are to be kept again.
type mender struct {
	c     *curve
	units [][]int32
	// unitOf by dog
	unitOf []int
	at     []*option // by dog, in the plan that is mended
	want   []*option // by dog, its promise; absent where it has none, or one whose run is not offered
	back   []bool    // by dog: its promise is put back
}

// option is a placement with what offered says of it.
type option struct {
	Placement
	value, minutes, cover int
	keeps                 bool
}

func newMender(c *curve, plan []Placement) *mender {
	dogs := len(c.p.Dogs)
	m := &mender{c: c, units: unitsOf(c.p), unitOf: make([]int, dogs), at: make([]*option, dogs), want: make([]*option, dogs), back: make([]bool, dogs)}
	for u, unit := range m.units {
		for _, d := range unit {
			m.unitOf[d] = u
		}
	}
	for i := range plan {
		m.at[plan[i].Dog] = m.option(plan[i])
	}
	for d, pl := range c.promised {
		if pl != nil {
			m.want[d] = m.option(*pl)
		}
	}
	return m
}

// option looks a placement up; nil if it is none of its dog's options.
func (m *mender) option(pl Placement) *option {
	value, minutes, cover, ok := offered(&m.c.p.Dogs[pl.Dog], pl)
	if !ok {
		return nil
	}
	return &option{pl, value, minutes, cover, m.c.keeps(&pl)}
}

// movedDogs lists the dogs whose promise the plan does not keep and is not put back.
func (m *mender) movedDogs() []int {
	var out []int
	for d, want := range m.c.promised {
		if want != nil && !m.back[d] && (m.at[d] == nil || !m.at[d].keeps) {
			out = append(out, d)
		}
	}
	return out
}

// putBack marks promises as kept again; those of one household return together.
func (m *mender) putBack(dogs []int) {
	for _, d := range dogs {
		for _, fellow := range m.units[m.unitOf[d]] {
			m.back[fellow] = m.c.promised[fellow] != nil
		}
	}
}

// lost is what a moved dog gives up, in points, when its promise is put back: the less, the sooner.
func (m *mender) lost(d int) int {
	value := func(x *option) int {
		if x == nil {
			return 0
		}
		return x.value
	}
	return value(m.at[d]) - value(m.want[d])
}

// cheapest sorts moved dogs by the plan that can be put together at once when their promise is put back, the best first.
func (m *mender) cheapest(moved []int) []int {
	score := map[int]int64{}
	for _, d := range moved {
		before := slices.Clone(m.back)
		m.putBack([]int{d})
		for _, x := range m.build() {
			score[d] += int64(x.value)
			if x.keeps {
				score[d] += m.c.base
			}
		}
		m.back = before
	}
	out := slices.Clone(moved)
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(score[b], score[a]) })
	return out
}

// build places households and dogs with a promise to keep first, then the others where the plan has them, as far as they fit.
func (m *mender) build() []*option {
	use := newUse(m.c.p)
	var out []*option
	for _, keeping := range []bool{true, false} {
		for _, unit := range m.units {
			if m.holds(unit) == keeping {
				out = append(out, m.place(&use, unit)...)
			}
		}
	}
	return out
}

// holds reports whether a promise of the unit is to be kept.
func (m *mender) holds(unit []int32) bool {
	return slices.ContainsFunc(unit, func(d int32) bool { return m.back[d] || m.at[d] != nil && m.at[d].keeps })
}

// place adds the whole unit where it is wanted, or nothing.
func (m *mender) place(use *Use, unit []int32) []*option {
	var returns *Placement
	for _, d := range unit {
		if m.back[d] && returns == nil {
			returns = m.c.promised[d]
		}
	}
	var out []*option
	for _, d := range unit {
		x := m.placeDog(use, int(d), returns)
		if x != nil && len(out) > 0 && (x.Site != out[0].Site || x.Arrival != out[0].Arrival) {
			m.add(use, x, -1)
			x = nil
		}
		if x == nil {
			for _, done := range out {
				m.add(use, done, -1)
			}
			return nil
		}
		out = append(out, x)
	}
	return out
}

// placeDog adds one dog where it is wanted; nil if it does not fit. Where a promise of its household is put back, it comes with it: to its
// own promised trainer if it has one, and in any run, the promised one first.
func (m *mender) placeDog(use *Use, d int, returns *Placement) *option {
	if returns == nil {
		return m.try(use, m.at[d])
	}
	if x := m.try(use, m.want[d]); x != nil {
		return x
	}
	for _, g := range m.c.p.Dogs[d].Placements {
		if g.Site != returns.Site || g.Arrival != returns.Arrival {
			continue
		}
		for _, t := range g.Trainers {
			for _, r := range g.Runs {
				pl := Placement{Dog: d, Site: g.Site, Arrival: g.Arrival, Run: r.Class, Trainer: t.Trainer}
				if m.c.promised[d] != nil && !m.c.keeps(&pl) {
					continue
				}
				if x := m.try(use, m.option(pl)); x != nil {
					return x
				}
			}
		}
	}
	return nil
}

// try adds a placement if it is one and fits.
func (m *mender) try(use *Use, x *option) *option {
	if x == nil {
		return nil
	}
	m.add(use, x, 1)
	if use.fits(m.c.p, x.Placement) {
		return x
	}
	m.add(use, x, -1)
	return nil
}

func (m *mender) add(use *Use, x *option, times int) {
	use.add(m.c.p, x.Placement, x.minutes, x.cover, times)
}

// fits reports whether nothing that a counted placement uses is used beyond what there is.
func (u *Use) fits(p *Problem, pl Placement) bool {
	site, trainer := &u.Sites[pl.Site], &u.Trainers[pl.Trainer]
	leave := pl.Arrival + p.Dogs[pl.Dog].Nights
	if site.Intake.Left(pl.Arrival) < 0 || site.Handover.Left(leave) < 0 {
		return false
	}
	for k := pl.Arrival; k < min(leave+p.Sites[pl.Site].CleanDown, p.Days-1); k++ {
		if site.Runs[pl.Run].Left(k) < 0 {
			return false
		}
	}
	for k := pl.Arrival; k < leave; k++ {
		if site.Minutes.Capacity != nil && site.Minutes.Left(k) < 0 {
			return false
		}
		if p.Trainers[pl.Trainer].Works[k] && (trainer.Minutes.Left(k) < 0 || trainer.Dogs.Left(k) < 0) {
			return false
		}
	}
	return true
}
