package allocation

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
)

// size describes an invented problem.
type size struct{ sites, trainers, dogs int }

// sizes are the problems that Generate makes.
var sizes = map[string]size{
	"X": {1, 3, 20}, "Y": {1, 4, 30}, "T": {2, 6, 40}, "S": {3, 12, 120}, "M": {12, 60, 600},
	"L": {60, 350, 4_000}, "XL": {600, 3_500, 40_000},
}

// Generate invents a problem of a named size for tests and measurements: X (1 site, 20 dogs), Y (1, 30), T (2, 40), S (3, 120), M (12,
// 600), L (60, 4,000) or XL (600, 40,000). Four weeks of arrivals are planned over eight weeks; stays that are confirmed already
// take up much of the first weeks, and demand is somewhat above what there is. The same name and seed give the same problem. All of it is
// made up: no number is taken from a real school.
func Generate(name string, seed uint64) (*Problem, error) {
	sz, known := sizes[name]
	if !known {
		return nil, invalid("size %q is unknown; choose one of %q", name, slices.Sorted(maps.Keys(sizes)))
	}
	g := &generator{rnd: newRandom(seed, uint64(sz.dogs)), size: sz,
		p: &Problem{Name: fmt.Sprintf("%s-%d", name, seed), Days: 57}}
	for s := range sz.sites {
		g.addSite(s)
	}
	for t := range sz.trainers {
		g.addTrainer(t)
	}
	for range sz.dogs {
		g.addDog()
	}
	return g.p, g.p.Validate()
}

const (
	arrivalDays = 28
	closedDay   = 6 // of the week: no arrivals and no handovers
)

type generator struct {
	rnd   *random
	size  size
	p     *Problem
	place [][2]float64 // of the sites, on a map one unit wide
	staff [][]int      // trainers of each site
	skill []int        // hardest dogs that a trainer takes, 0 to 2
}

func (g *generator) between(a, b int) int { return a + g.rnd.below(b-a+1) }

// ramp grows from a share of full in the first days to full after about three weeks: confirmed stays come to their end.
func (g *generator) ramp(full int) []int {
	start, weeks := 0.05+0.5*g.rnd.unit(), 17+8*g.rnd.unit()
	out := make([]int, g.p.Days-1)
	for k := range out {
		out[k] = int(float64(full) * min(1, start+(1-start)*float64(k)/weeks))
	}
	return out
}

func (g *generator) addSite(i int) {
	dogs := float64(g.size.dogs) / float64(g.size.sites)
	s := Site{Name: fmt.Sprintf("site-%d", i)}
	for c, share := range []float64{0.12, 0.19, 0.22, 0.09} {
		full := max(1, int(dogs*share*(0.8+0.4*g.rnd.unit())+0.5))
		s.Runs = append(s.Runs, RunClass{Class: []string{"S", "M", "L", "XL"}[c], Capacity: g.ramp(full)})
	}
	places := max(2, int(dogs/16+0.5))
	for k := range g.p.Days {
		open := 0
		if k%7 != closedDay {
			open = 1
		}
		if k < g.p.Days-1 {
			in := 0
			if k < arrivalDays {
				in = open * places
			}
			s.Intake = append(s.Intake, in)
		}
		s.Handover = append(s.Handover, open*(places+1))
	}
	g.p.Sites = append(g.p.Sites, s)
	g.place = append(g.place, [2]float64{g.rnd.unit(), g.rnd.unit()})
	g.staff = append(g.staff, nil)
}

// addTrainer adds a trainer with two days off a week, and now and then a week of leave.
func (g *generator) addTrainer(i int) {
	site := i % g.size.sites
	mean := 26.5 * float64(g.size.dogs) / float64(g.size.trainers)
	full := 5 * int(mean*(0.85+0.3*g.rnd.unit())/5)
	t := Trainer{Site: site, Minutes: g.ramp(full), Dogs: g.ramp(max(2, (full+47)/48)), Works: make([]bool, g.p.Days-1)}
	off, leave := g.rnd.below(6), -1
	if g.rnd.below(6) == 0 {
		leave = g.rnd.below(7)
	}
	for k := range t.Works {
		if t.Works[k] = k%7 != closedDay && k%7 != off && k/7 != leave; !t.Works[k] {
			t.Minutes[k], t.Dogs[k] = 0, 0
		} else {
			t.Dogs[k] = max(1, t.Dogs[k])
		}
	}
	g.staff[site] = append(g.staff[site], i)
	g.skill = append(g.skill, g.rnd.below(3))
	g.p.Trainers = append(g.p.Trainers, t)
}

// addDog adds a wish: a program, a window of arrival days around a wished day, and one to three of the nearer sites.
func (g *generator) addDog() {
	d := Dog{Nights: []int{14, 14, 14, 21, 21, 21, 28}[g.rnd.below(7)]}
	hard := min(g.rnd.below(3), g.rnd.below(4))
	minutes := 5*g.between(6, 10) + 10*hard
	if g.rnd.below(12) == 0 {
		minutes += 5 * g.between(2, 6)
	}
	worth := g.between(55, 100) + 2*(d.Nights-14) + 15*hard
	if g.rnd.below(5) == 0 {
		worth += g.between(20, 70) // a deposit paid, or long on the list
	}
	class := min(g.rnd.below(4), 1+g.rnd.below(5))
	larger := g.between(3, 8)
	first := g.rnd.below(arrivalDays - 8)
	last := min(arrivalDays-1, first+g.between(8, 24))
	wished := first + g.rnd.below(min(6, last-first+1))
	slope := g.between(1, 3)
	var runs []RunOption
	for c := class; c < min(4, class+3); c++ {
		runs = append(runs, RunOption{Class: c, Penalty: larger * (c - class)})
	}
	for _, n := range g.nearest(1 + g.rnd.below(3)) {
		trainers := g.suitable(n.site, hard, minutes)
		for a := first; a <= last; a++ {
			value := worth - n.travel
			if a <= wished {
				value -= wished - a
			} else {
				value -= slope * (a - wished)
			}
			if a%7 == closedDay || (a+d.Nights)%7 == closedDay {
				continue
			}
			if here := g.present(trainers, a, a+d.Nights, minutes); len(here) > 0 {
				d.Placements = append(d.Placements, Group{Site: n.site, Arrival: a, Value: value, Runs: runs, Trainers: here})
			}
		}
	}
	g.p.Dogs = append(g.p.Dogs, d)
}

type nearby struct{ site, travel int }

// nearest draws a home and returns the n sites nearest to it with what the way costs in points.
func (g *generator) nearest(n int) []nearby {
	home := [2]float64{g.rnd.unit(), g.rnd.unit()}
	all := make([]nearby, 0, len(g.place))
	for s, at := range g.place {
		away := math.Hypot(at[0]-home[0], at[1]-home[1]) * math.Sqrt(float64(g.size.sites))
		all = append(all, nearby{s, min(40, int(9*away))})
	}
	slices.SortStableFunc(all, func(a, b nearby) int { return cmp.Compare(a.travel, b.travel) })
	return all[:min(n, len(all))]
}

func (g *generator) suitable(site, hard, minutes int) []TrainerOption {
	var out []TrainerOption
	for _, t := range g.staff[site] {
		if g.skill[t] >= hard {
			out = append(out, TrainerOption{Trainer: t, Penalty: g.rnd.below(18), Minutes: minutes})
		}
	}
	return out
}

// present keeps the trainers whose free time allows the dog on every working day of a stay; the list itself if that is all.
func (g *generator) present(trainers []TrainerOption, from, to, minutes int) []TrainerOption {
	var out []TrainerOption
	for _, o := range trainers {
		t := &g.p.Trainers[o.Trainer]
		fits := true
		for k := from; k < to && fits; k++ {
			fits = !t.Works[k] || t.Minutes[k] >= minutes
		}
		if fits {
			out = append(out, o)
		}
	}
	if len(out) == len(trainers) {
		return trainers
	}
	return out
}
