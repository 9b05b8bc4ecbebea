package slots_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/refsolve"
	"github.com/longlead/longlead/services/slots"
)

// BenchmarkSiteMonth appoints the handovers of 30 days at a made-up site, and tells how far each plan lies from its bound. In the second kind
// owners could come a day earlier or later as well, so that all days hang together.
func BenchmarkSiteMonth(b *testing.B) {
	for _, kind := range []struct {
		days, each int
		linked     bool
	}{{30, 4, false}, {30, 8, false}, {1, 12, false}, {5, 6, true}, {30, 6, true}} {
		for seed := range uint64(2) {
			b.Run(fmt.Sprintf("days=%d/each=%d/linked=%t/seed=%d", kind.days, kind.each, kind.linked, seed), func(b *testing.B) {
				p := siteMonth(seed, kind.days, kind.each)
				if kind.linked {
					link(p)
				}
				var plan *slots.Plan
				for b.Loop() {
					var err error
					plan, err = slots.Solve(p, slots.Options{Limit: 10 * time.Second})
					require.NoError(b, err)
				}
				b.ReportMetric(100*float64(plan.Bound-plan.Value)/float64(plan.Bound), "gap%")
				b.ReportMetric(float64(len(plan.Missing)), "missing")
			})
		}
	}
}

// BenchmarkBesideCPSAT gives the same problems to CP-SAT, for as long each: its value and bound beside ours. One problem at a time, both with what
// threads they want of two.
func BenchmarkBesideCPSAT(b *testing.B) {
	const seconds = 10
	for _, kind := range besides {
		b.Run(fmt.Sprintf("days=%d/each=%d/linked=%t", kind.days, kind.each, kind.linked), func(b *testing.B) {
			p := siteMonth(kind.seed, kind.days, kind.each)
			if kind.linked {
				link(p)
			}
			var plan *slots.Plan
			for b.Loop() {
				var err error
				plan, err = slots.Solve(p, slots.Options{Limit: seconds * time.Second})
				require.NoError(b, err)
			}
			found, _ := refsolve.SolveSlots(b, []*slots.Problem{p}, seconds)
			b.ReportMetric(float64(plan.Value), "value")
			b.ReportMetric(float64(plan.Bound), "bound")
			if found[0].Value != nil {
				b.ReportMetric(float64(*found[0].Value), "cpsat-value")
				b.ReportMetric(float64(*found[0].Bound), "cpsat-bound")
			}
			b.ReportMetric(found[0].Seconds, "cpsat-s")
		})
	}
}

var besides = []struct {
	days, each int
	linked     bool
	seed       uint64
}{{30, 4, false, 0}, {1, 8, false, 0}, {1, 8, false, 1}, {1, 12, false, 0}, {1, 12, false, 1}, {30, 8, false, 0}, {5, 6, true, 0}, {30, 6, true, 0}}

// link lets owners come on the day before or after as well.
func link(p *slots.Problem) {
	const day = 24 * 60
	for i := range p.Visits {
		v := &p.Visits[i]
		for _, w := range v.Windows {
			for _, shift := range []int{-day, day} {
				if s := (slots.Span{From: w.From + shift, To: w.To + shift}); s.From >= 0 && s.To <= p.Minutes {
					v.Windows = append(v.Windows, slots.Window{Span: s, Points: w.Points + 60})
				}
			}
		}
	}
}
