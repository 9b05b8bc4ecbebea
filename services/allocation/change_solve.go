package allocation

import (
	"fmt"
	"slices"
)

// Forced is the best plan found with a dog in it that was left out before, held against the plan before. The value that must be
// given up for the dog lies between LostLeast and LostMost (both proven): the difference between the best plan of all and the best
// with the dog. A plan with the dog that is worth more than the plan before has a negative Cost: the search before ended too
// early.
type Forced struct {
	Displacement
	Value, Bound        int64
	LostLeast, LostMost int64
	Stopped             StopReason
}

// ForceIn solves with a dog (and its household) forced into the plan. before is what Solve returned for p, start a plan with the
// dog, such as Displace makes; o.Warm is not used. Its time is that of Solve.
func ForceIn(p *Problem, before Solution, dog int, start []Placement, o Options) (*Forced, error) {
	if !slices.ContainsFunc(start, func(pl Placement) bool { return pl.Dog == dog }) {
		return nil, invalid("the plan to start from does not place dog %d", dog)
	}
	first, err := Check(p, start)
	if err != nil {
		return nil, fmt.Errorf("the plan to start from: %w", err)
	}
	// With this bonus the start is worth more than any plan without the dog can be, so that no search can drop it.
	bonus := max(0, before.Bound-first) + 1
	q := *p
	q.Dogs = slices.Clone(p.Dogs)
	q.Dogs[dog] = withBonus(p.Dogs[dog], int(bonus))
	o.Warm = start
	solution, err := Solve(&q, o)
	if err != nil {
		return nil, err
	}
	moved, err := displacement(p, before.Placements, solution.Placements)
	if err != nil {
		return nil, err
	}
	out := &Forced{Displacement: *moved, Value: solution.Value - bonus, Bound: solution.Bound - bonus, Stopped: solution.Stopped}
	if !slices.ContainsFunc(solution.Placements, func(pl Placement) bool { return pl.Dog == dog }) {
		return nil, fmt.Errorf("the search dropped dog %d, which is a fault in it", dog)
	}
	// The best plan is worth at least the better of the two found, and at most the bound; the best with the dog likewise.
	out.LostLeast = max(0, max(before.Value, out.Value)-out.Bound)
	out.LostMost = max(0, before.Bound-out.Value)
	return out, nil
}

// withBonus adds points to every way of placing a dog.
func withBonus(d Dog, bonus int) Dog {
	d.Placements = slices.Clone(d.Placements)
	for g := range d.Placements {
		d.Placements[g].Value += bonus
	}
	return d
}

// Rearrange looks for a plan with a dog (and its household) and everybody that a plan places, each at any option of theirs. It
// returns Impossible only where the bound proves that there is none. What the plan is worth guides it, soft levels aside. o limits the
// search; its Warm is not used.
func Rearrange(p *Problem, plan []Placement, dog int, o Options) (Finding, []Placement, error) {
	want := make([]bool, len(p.Dogs))
	for _, pl := range plan {
		want[pl.Dog] = true
	}
	want[dog] = true
	for _, dogs := range p.Together {
		if slices.Contains(dogs, dog) {
			for _, d := range dogs {
				want[d] = true
			}
		}
	}
	q := *p
	q.Dogs = slices.Clone(p.Dogs)
	q.Sites, q.Trainers = withoutSoftLevels(p)
	var n, lowest, highest, below int64
	for d := range q.Dogs {
		if !want[d] {
			q.Dogs[d].Placements = nil
			continue
		}
		low, high, some := valueRange(&p.Dogs[d])
		if !some {
			return Impossible, nil, nil
		}
		n, lowest, highest, below = n+1, lowest+low, highest+high, max(below, -low)
	}
	// One dog less costs more than all choices together can bring, and no choice is worth less than nothing.
	bonus := highest - lowest + below + 1
	for d := range q.Dogs {
		if want[d] {
			q.Dogs[d] = withBonus(p.Dogs[d], int(bonus))
		}
	}
	o.Warm = plan
	solution, err := Solve(&q, o)
	if err != nil {
		return NotFound, nil, err
	}
	switch {
	case len(solution.Placements) == int(n):
		return Found, solution.Placements, nil
	case solution.Bound < n*bonus+lowest:
		return Impossible, nil, nil
	}
	return NotFound, nil, nil
}

func withoutSoftLevels(p *Problem) ([]Site, []Trainer) {
	sites, trainers := slices.Clone(p.Sites), slices.Clone(p.Trainers)
	for i := range sites {
		sites[i].EasyIntake, sites[i].EasyHandover, sites[i].EasyMinutes = nil, nil, nil
	}
	for i := range trainers {
		trainers[i].Easy = nil
	}
	return sites, trainers
}

// valueRange is the least and the most that a dog's options are worth.
func valueRange(d *Dog) (low, high int64, some bool) {
	for _, g := range d.Placements {
		for _, r := range g.Runs {
			for _, t := range g.Trainers {
				v := int64(g.Value - r.Penalty - t.Penalty)
				if !some {
					low, high, some = v, v, true
				}
				low, high = min(low, v), max(high, v)
			}
		}
	}
	return low, high, some
}
