package dayblocks_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/internal/outside"
)

// taillard draws numbers as E. Taillard, "Benchmarks for basic scheduling problems", EJOR 64 (1993) 278-285 does: Lehmer's generator with 16,807
// modulo 2^31-1.
type taillard struct{ seed int64 }

func (r *taillard) between(a, b int) int {
	r.seed = r.seed * 16_807 % (1<<31 - 1)
	return a + int(float64(r.seed)/float64(1<<31-1)*float64(b-a+1))
}

// openShop is one of his open-shop problems: by job and machine, how long it takes.
func openShop(n int, timeSeed, machineSeed int64) [][]int {
	times, machines := taillard{timeSeed}, taillard{machineSeed}
	drawn := make([][]int, n)
	for i := range drawn {
		for range n {
			drawn[i] = append(drawn[i], times.between(1, 99))
		}
	}
	out := make([][]int, n)
	for i := range out {
		order := make([]int, n)
		for j := range order {
			order[j] = j
		}
		for j := range order {
			k := machines.between(j+1, n) - 1
			order[j], order[k] = order[k], order[j]
		}
		out[i] = make([]int, n)
		for j, machine := range order {
			out[i][machine] = drawn[i][j]
		}
	}
	return out
}

// shopDay is a day of so many minutes in which jobs are dogs and machines are trainers.
func shopDay(shop [][]int, minutes int) *dayblocks.Day {
	whole := []dayblocks.Span{{To: minutes}}
	d := &dayblocks.Day{Step: 1, Minutes: minutes, Areas: []dayblocks.Area{{Dogs: len(shop), Open: whole}}, Policy: dayblocks.Policy{Drop: 10}}
	for range shop {
		d.Trainers = append(d.Trainers, dayblocks.Trainer{Hours: whole})
	}
	for _, job := range shop {
		var dog dayblocks.Dog
		for machine, minutes := range job {
			dog.Sessions = append(dog.Sessions, dayblocks.Session{Minutes: minutes, Skill: machine, Handlers: []dayblocks.Choice{{Trainer: machine}}, Areas: []dayblocks.Place{{}}})
		}
		d.Dogs = append(d.Dogs, dog)
	}
	return d
}

// TestOutsideOpenShop checks that all sessions of a day fit into the shortest time that is known for them.
func TestOutsideOpenShop(t *testing.T) {
	t.Parallel()
	for i, x := range []struct {
		times, machines int64
		best            int
	}{
		{1166510396, 164000672, 193}, {1624514147, 1076870026, 236}, {1116611914, 1729673136, 271}, {410579806, 1453014524, 250},
		{1036100146, 375655500, 295}, {597897640, 322140729, 189}, {1268670769, 556009645, 201}, {307928077, 421384574, 217},
		{667545295, 485515899, 261}, {35780816, 492238933, 217},
	} {
		if raceDetector && i != 2 { // verify runs all without the detector
			continue
		}
		t.Run(fmt.Sprint(i+1), func(t *testing.T) {
			t.Parallel()
			shop := openShop(4, x.times, x.machines)
			if i == 0 {
				require.Equal(t, [][]int{{34, 2, 54, 61}, {15, 89, 70, 9}, {38, 19, 28, 87}, {95, 7, 34, 29}}, shop)
			}
			least := 0
			for minutes := x.best; least == 0 && minutes < x.best+40; minutes++ {
				for seed, moves := range []int{10_000, 20_000, 150_000, 150_000, 300_000, 300_000} {
					d := shopDay(shop, minutes)
					p, err := dayblocks.Solve(d, dayblocks.Options{Seed: uint64(seed), Moves: moves})
					require.NoError(t, err)
					_, err = dayblocks.Check(d, p)
					require.NoError(t, err)
					if len(p.Dropped) == 0 {
						least = minutes
						break
					}
				}
			}
			outside.Check(t, fmt.Sprintf("open shop 4x4, %d: shortest time", i+1), "Taillard 1993, best known make-spans from memory", x.best, least)
		})
	}
}
