package refsolve_test

import (
	"math/rand/v2"

	"github.com/longlead/longlead/services/allocation"
)

// randomProblem makes a small problem in which much is short, so that dogs compete for every kind of resource. The optional
// rules (site minutes with cover, clean-down, households) are each in about half of the problems.
func randomProblem(seed uint64) *allocation.Problem {
	r := rand.New(rand.NewPCG(seed, 7))
	p := &allocation.Problem{Name: "random", Days: 8 + r.IntN(8)}
	for s := range 1 + r.IntN(2) {
		p.Sites = append(p.Sites, randomSite(r, p.Days))
		for range 1 + r.IntN(2) {
			p.Trainers = append(p.Trainers, randomTrainer(r, s, p.Days))
		}
	}
	for range 8 + r.IntN(6) {
		p.Dogs = append(p.Dogs, randomDog(r, p))
	}
	if r.IntN(2) == 0 {
		p.Together = [][]int{{0, 1}}
		// A household wants the same dates; without this it would hardly ever fit.
		p.Dogs[1] = p.Dogs[0]
	}
	return p
}

// withSoftLevels adds soft levels of every kind to a random problem, low enough that some plans run over them.
func withSoftLevels(p *allocation.Problem, seed uint64) *allocation.Problem {
	r := rand.New(rand.NewPCG(seed, 11))
	for i := range p.Sites {
		s := &p.Sites[i]
		s.EasyIntake = &allocation.Easy{Upto: series(r, p.Days, 0, 2), Over: 1 + r.IntN(9)}
		s.EasyHandover = &allocation.Easy{Upto: series(r, p.Days, 0, 2), Over: 1 + r.IntN(9)}
		if s.Minutes != nil {
			s.EasyMinutes = &allocation.Easy{Upto: series(r, p.Days, 60, 120), Over: r.IntN(2)}
		}
	}
	allocation.EvenLoad(p, 30+10*r.IntN(5), 15*r.IntN(2), 1+r.IntN(2))
	return p
}

func series(r *rand.Rand, days, least, most int) []int {
	s := make([]int, days)
	for k := range s {
		s[k] = least + r.IntN(most-least+1)
	}
	return s
}

func randomSite(r *rand.Rand, days int) allocation.Site {
	s := allocation.Site{Name: "site", Intake: series(r, days, 0, 3), Handover: series(r, days, 0, 3), CleanDown: r.IntN(3)}
	for _, class := range []string{"S", "L"} {
		s.Runs = append(s.Runs, allocation.RunClass{Class: class, Capacity: series(r, days, 1, 2)})
	}
	if r.IntN(2) == 0 {
		s.Minutes = series(r, days, 100, 220)
	}
	return s
}

func randomTrainer(r *rand.Rand, site, days int) allocation.Trainer {
	t := allocation.Trainer{Site: site, Works: make([]bool, days), Minutes: series(r, days, 60, 200), Dogs: series(r, days, 1, 3)}
	for k := range t.Works {
		t.Works[k] = r.IntN(7) > 1
	}
	return t
}

func randomDog(r *rand.Rand, p *allocation.Problem) allocation.Dog {
	d := allocation.Dog{Nights: 2 + r.IntN(4)}
	for s := range p.Sites {
		for arrival := range p.Days - d.Nights {
			if r.IntN(2) > 0 {
				continue
			}
			g := allocation.Group{Site: s, Arrival: arrival, Value: 20 + r.IntN(60)}
			for class := range p.Sites[s].Runs {
				if class == 1 || r.IntN(2) == 0 {
					g.Runs = append(g.Runs, allocation.RunOption{Class: class, Penalty: r.IntN(6)})
				}
			}
			for t := range p.Trainers {
				if p.Trainers[t].Site == s {
					g.Trainers = append(g.Trainers, allocation.TrainerOption{Trainer: t, Penalty: r.IntN(8), Minutes: 30 + 5*r.IntN(12), Cover: 5 * r.IntN(6)})
				}
			}
			d.Placements = append(d.Placements, g)
		}
	}
	return d
}
