package allocation_test

import (
	"slices"
	"testing"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// everyAddition lists all additions to a small problem, those without a price included.
func everyAddition(p *allocation.Problem) []allocation.Addition {
	var out []allocation.Addition
	for first := 0; first < p.Days; first += 3 {
		for s := range p.Sites {
			at := allocation.Resource{Site: s, Class: -1, Trainer: -1, Day: first}
			for _, at.Kind = range []allocation.ResourceKind{allocation.IntakePlace, allocation.HandoverPlace} {
				out = append(out, allocation.Addition{Resource: at, Last: first + 2})
			}
			at.Kind = allocation.RunNight
			for at.Class = range p.Sites[s].Runs {
				out = append(out, allocation.Addition{Resource: at, Last: first + 2})
			}
		}
		for tr := range p.Trainers {
			at := allocation.Resource{Kind: allocation.TrainerMinutes, Site: p.Trainers[tr].Site, Class: -1, Trainer: tr, Day: first}
			out = append(out, allocation.Addition{Resource: at, Last: first + 2, Minutes: 3})
		}
	}
	return out
}

// TestWorthAgainstBruteForce: what solving with an addition gains is what trying every plan says, the proven interval holds it
// however poor the plan before and however short the search, and more room never lowers value or bound.
func TestWorthAgainstBruteForce(t *testing.T) {
	t.Parallel()
	gains := 0
	rapid.Check(t, func(t *rapid.T) {
		p, _ := drawBusy(t)
		before, err := allocation.Solve(p, allocation.Options{})
		require.NoError(t, err)
		was := bruteForce(p)
		poor := allocation.Solution{Placements: drawPlan(t, p), Bound: was + rapid.Int64Range(0, 9).Draw(t, "loose")}
		poor.Value, err = allocation.Check(p, poor.Placements)
		require.NoError(t, err)
		for _, a := range everyAddition(p) {
			q, err := a.Change(p).Apply(p)
			require.NoError(t, err)
			require.NoError(t, q.Validate())
			gain := bruteForce(q) - was
			require.GreaterOrEqual(t, gain, int64(0))
			w, err := allocation.CheckWorth(p, before, a, allocation.Options{})
			require.NoError(t, err)
			require.Equal(t, []int64{gain, gain, gain}, []int64{w.Least, w.Most, w.Found})
			require.GreaterOrEqual(t, w.After.Value, before.Value)
			require.GreaterOrEqual(t, w.After.Bound, before.Bound)
			quick, err := allocation.CheckWorth(p, poor, a, allocation.Options{Iterations: 1})
			require.NoError(t, err)
			require.LessOrEqual(t, quick.Least, gain)
			require.GreaterOrEqual(t, quick.Most, gain)
			if gain > 0 {
				gains++
			}
		}
	})
	t.Logf("counts: gains %d", gains)
	require.Positive(t, gains)
}

// TestAdditionsSumPrices recounts the prices of a generated problem's additions from its daily prices.
func TestAdditionsSumPrices(t *testing.T) {
	t.Parallel()
	p := mustGenerate(t, "X", 4)
	s, err := allocation.Solve(p, allocation.Options{Iterations: 2000})
	require.NoError(t, err)
	list := allocation.Additions(p, s.Prices, []int{0, 7, 14, 21}, 60)
	require.NotEmpty(t, list)
	require.True(t, slices.IsSortedFunc(list, func(a, b allocation.Addition) int {
		if a.Price > b.Price {
			return -1
		}
		return 1
	}))
	seen := map[allocation.ResourceKind]int{}
	for _, a := range list {
		seen[a.Kind]++
		var want float64
		site := s.Prices.Sites[a.Site]
		for k := a.Day; k <= a.Last; k++ {
			switch a.Kind {
			case allocation.RunNight:
				want += site.Runs[a.Class][k]
			case allocation.IntakePlace:
				if k < p.Days-1 && p.Sites[a.Site].Intake[k] > 0 {
					want += site.Intake[k]
				}
			case allocation.HandoverPlace:
				if p.Sites[a.Site].Handover[k] > 0 {
					want += site.Handover[k]
				}
			default:
				if k < p.Days-1 && p.Trainers[a.Trainer].Works[k] {
					want += 60*s.Prices.Trainers[a.Trainer].Minutes[k] + s.Prices.Trainers[a.Trainer].Dogs[k]
				}
			}
		}
		require.InDelta(t, want, a.Price, 1e-6)
	}
	require.Positive(t, seen[allocation.RunNight])
	require.Positive(t, seen[allocation.TrainerMinutes])
}

// BenchmarkWorth measures how far prices lie from what solving again shows, in points: the median over the eight dearest
// additions of several generated problems, and how many of them were proven exactly. It takes minutes; with -short it only runs.
func BenchmarkWorth(b *testing.B) {
	seeds, each, limit := 3, 8, 5*time.Second
	if testing.Short() {
		seeds, each, limit = 1, 2, time.Second
	}
	for _, size := range []string{"X", "T"} {
		b.Run(size, func(b *testing.B) {
			for b.Loop() {
				measureWorth(b, size, seeds, each, limit)
			}
		})
	}
}

func measureWorth(b *testing.B, size string, seeds, each int, limit time.Duration) {
	var apart, price, found []float64
	exact := 0
	for seed := range seeds {
		p := mustGenerate(b, size, uint64(seed+1))
		o := allocation.Options{Seed: 1, Threads: 2, Limit: limit}
		before, err := allocation.Solve(p, o)
		require.NoError(b, err)
		list := allocation.Additions(p, before.Prices, []int{0, 7, 14, 21, 28, 35}, 60)
		for _, a := range list[:min(each, len(list))] {
			w, err := allocation.CheckWorth(p, before, a, o)
			require.NoError(b, err)
			require.LessOrEqual(b, w.Least, w.Most)
			apart, price, found = append(apart, w.Apart), append(price, w.Price), append(found, float64(w.Found))
			if w.Least == w.Most {
				exact++
			}
			b.Logf("%s-%d kind %d day %d: price %.1f, found %d, proven within [%d, %d]", size, seed+1, w.Kind, w.Day, w.Price, w.Found, w.Least, w.Most)
		}
	}
	b.ReportMetric(median(apart), "points-apart")
	b.ReportMetric(median(price), "points-price")
	b.ReportMetric(median(found), "points-found")
	b.ReportMetric(float64(exact), "proven-exactly")
	b.ReportMetric(float64(len(apart)), "additions")
}

func median(x []float64) float64 {
	slices.Sort(x)
	if n := len(x); n%2 == 1 {
		return x[n/2]
	}
	return (x[len(x)/2-1] + x[len(x)/2]) / 2
}
