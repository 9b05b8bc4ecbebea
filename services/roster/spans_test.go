package roster

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// TestPlacedSpansNeverOverlap plays what a table would hold after the rows that fit are written: no day twice for a
// trainer, and nothing lost but what was replaced.
func TestPlacedSpansNeverOverlap(t *testing.T) {
	t.Parallel()
	first := calendar.MustDate("2027-03-01")
	table, err := sheet.Read("x.csv", []byte("first_day\n2027-03-01\n"), sheet.Kind{Name: "x", Columns: spanColumns[:1]}, sheet.Options{})
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		var known, coming []trainerSpan
		for _, s := range drawSpans(t, first) {
			known = append(known, trainerSpan{ids.TrainerID{1}, s})
		}
		taken := map[calendar.Date]bool{}
		for range rapid.IntRange(0, 6).Draw(t, "coming") {
			from := first.AddDays(rapid.IntRange(0, 25).Draw(t, "first day"))
			if !taken[from] { // a file holds each key once
				taken[from] = true
				coming = append(coming, trainerSpan{ids.TrainerID{1}, calendar.Span{From: from, To: from.AddDays(rapid.IntRange(1, 9).Draw(t, "days"))}})
			}
		}
		rows := make([]records.Row, len(coming))
		for i := range rows {
			rows[i] = records.NewRow(table.Rows[0], nil)
		}

		fits, wrong := placeSpans(rows, known, coming, "loan")
		require.Len(t, coming, len(fits)+len(wrong))
		require.True(t, slices.IsSorted(fits))

		after := map[calendar.Date]calendar.Span{}
		for _, k := range known {
			after[k.days.From] = k.days
		}
		for _, i := range fits {
			after[coming[i].days.From] = coming[i].days
		}
		count := map[calendar.Date]int{}
		for _, s := range after {
			for day := range s.Dates() {
				count[day]++
				require.Equal(t, 1, count[day], "%s", day)
			}
		}
		if len(coming) == 1 {
			// Alone, a row is wrong only when it meets a known span that it does not replace.
			clash := slices.ContainsFunc(known, func(k trainerSpan) bool { return k.days.From != coming[0].days.From && k.days.Overlaps(coming[0].days) })
			require.Equal(t, clash, len(wrong) == 1)
		}
	})
}
