package dayblocks_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/dayblocks"
)

// BenchmarkSiteDay plans site days of 8 trainers, 40 dogs and 120 sessions, and tells how far each plan lies from its bound.
func BenchmarkSiteDay(b *testing.B) {
	for seed := range uint64(40) {
		b.Run(fmt.Sprint(seed), func(b *testing.B) {
			d := siteDay(seed, 8, 40)
			var p *dayblocks.Plan
			for b.Loop() {
				var err error
				p, err = dayblocks.Solve(d, dayblocks.Options{Seed: 1, Limit: 1900 * time.Millisecond})
				if errors.Is(err, dayblocks.ErrInvalid) {
					b.Skip(err) // some of these days leave a trainer no room for a break
				}
				require.NoError(b, err)
			}
			b.ReportMetric(100*float64(p.Bound-p.Value)/float64(p.Value), "gap%")
			b.ReportMetric(float64(p.Value), "points")
			b.ReportMetric(float64(p.Bound), "points-bound")
			b.ReportMetric(float64(len(p.Dropped)), "dropped")
		})
	}
}
