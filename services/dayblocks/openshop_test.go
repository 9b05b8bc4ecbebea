package dayblocks_test

import (
	"fmt"
	"slices"
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

// openShops are his problems with as many jobs as machines: seeds of times and machines, the longest job or machine, and the best make-span
// known. Seeds and longest ones are his (EJOR 64, 1993), read from public programs that draw the same problems and agree on them; the best
// make-spans are from memory. All are said to be proven: those of 7x7 are as long as the longest job or machine.
var openShops = []struct {
	n, moves int
	shops    [][4]int64
}{
	{4, 3000, [][4]int64{
		{1166510396, 164000672, 186, 193}, {1624514147, 1076870026, 229, 236}, {1116611914, 1729673136, 262, 271}, {410579806, 1453014524, 245, 250},
		{1036100146, 375655500, 287, 295}, {597897640, 322140729, 185, 189}, {1268670769, 556009645, 197, 201}, {307928077, 421384574, 212, 217},
		{667545295, 485515899, 258, 261}, {35780816, 492238933, 213, 217},
	}},
	{5, 6000, [][4]int64{
		{527556884, 1343124817, 295, 300}, {1046824493, 1973406531, 255, 262}, {1165033492, 86711717, 321, 323}, {476292817, 24463110, 306, 310},
		{1181363416, 606981348, 321, 326}, {897739730, 513119113, 307, 312}, {577107303, 2046387124, 298, 303}, {1714191910, 1928475945, 292, 300},
		{1813128617, 2091141708, 349, 353}, {808919936, 183753764, 321, 326},
	}},
	{7, 20_000, [][4]int64{
		{1840686215, 1827454623, 435, 435}, {1026771938, 1312166461, 443, 443}, {609471574, 670843185, 468, 468}, {1022295947, 398226875, 463, 463},
		{1513073047, 1250759651, 416, 416}, {1612211197, 95606345, 451, 451}, {435024109, 1118234860, 422, 422}, {1760865440, 1099909092, 424, 424},
		{122574075, 10979313, 458, 458}, {248031774, 1685251301, 398, 398},
	}},
}

// longest is the longest job or machine: no plan is shorter.
func longest(shop [][]int) (most int) {
	machines := make([]int, len(shop))
	for _, job := range shop {
		sum := 0
		for machine, minutes := range job {
			sum += minutes
			machines[machine] += minutes
		}
		most = max(most, sum)
	}
	return max(most, slices.Max(machines))
}

// TestOutsideOpenShopBounds checks that the problems are the published ones: each has the longest job or machine that is published for it.
func TestOutsideOpenShopBounds(t *testing.T) {
	t.Parallel()
	require.Equal(t, [][]int{{34, 2, 54, 61}, {15, 89, 70, 9}, {38, 19, 28, 87}, {95, 7, 34, 29}}, openShop(4, 1166510396, 164000672))
	for _, size := range openShops {
		for i, x := range size.shops {
			outside.Check(t, fmt.Sprintf("open shop %dx%d, %d: longest job or machine", size.n, size.n, i+1), "Taillard 1993, lower bounds", int(x[2]), longest(openShop(size.n, x[0], x[1])))
		}
	}
}

// TestOutsideOpenShop looks for the shortest day that holds all sessions, from a minute less than is known on: it is the shortest that is known.
func TestOutsideOpenShop(t *testing.T) {
	t.Parallel()
	for _, size := range openShops {
		for i, x := range size.shops {
			if raceDetector && i != 2 { // verify runs all without the detector
				continue
			}
			t.Run(fmt.Sprintf("%dx%d %d", size.n, size.n, i+1), func(t *testing.T) {
				t.Parallel()
				shop := openShop(size.n, x[0], x[1])
				least := max(longest(shop), int(x[3])-1)
				for ; least < int(x[3])+40 && !holdsAll(t, shop, least, size.moves); least++ {
				}
				outside.Check(t, fmt.Sprintf("open shop %dx%d, %d: shortest time", size.n, size.n, i+1), "Taillard 1993, best known make-spans from memory", int(x[3]), least)
			})
		}
	}
}

// holdsAll reports whether a search finds a plan of a shop with all sessions in so many minutes.
func holdsAll(t *testing.T, shop [][]int, minutes, moves int) bool {
	t.Helper()
	d := shopDay(shop, minutes)
	p, err := dayblocks.Solve(d, dayblocks.Options{Moves: moves})
	require.NoError(t, err)
	_, err = dayblocks.Check(d, p)
	require.NoError(t, err)
	return len(p.Dropped) == 0
}
