package consoletest

import (
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TimePages measures what pages, by name, take at the server and on the way: the least, the median and the 99th percentile, in milliseconds. The least
// says what a page takes where nothing else runs.
func TimePages(b *testing.B, c *Client, pages map[string]string) {
	b.Helper()
	names := make([]string, 0, len(pages))
	for name := range pages {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		b.Run(name, func(b *testing.B) {
			c.Get(b, pages[name])
			var took []time.Duration
			for b.Loop() {
				began := time.Now()
				require.Equal(b, http.StatusOK, c.Get(b, pages[name]).Status)
				took = append(took, time.Since(began))
			}
			slices.Sort(took)
			for unit, at := range map[string]int{"ms-least": 0, "ms-median": len(took) / 2, "ms-p99": len(took) * 99 / 100} {
				b.ReportMetric(float64(took[at].Microseconds())/1000, unit)
			}
			b.ReportMetric(0, "ns/op")
		})
	}
}
