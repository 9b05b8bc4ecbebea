package records_test

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
	table, err := sheet.Read("x.csv", []byte("first_day\n2027-03-01\n"), sheet.Kind{Name: "x", Columns: []sheet.Column{{Name: "first_day", Form: sheet.FormDay, Example: "2027-03-01"}}}, sheet.Options{})
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		var known, coming []records.Dated[ids.TrainerID]
		for _, s := range drawSpans(t, first) {
			known = append(known, records.Dated[ids.TrainerID]{Owner: ids.TrainerID{1}, Days: s})
		}
		taken := map[calendar.Date]bool{}
		for range rapid.IntRange(0, 6).Draw(t, "coming") {
			from := first.AddDays(rapid.IntRange(0, 25).Draw(t, "first day"))
			if !taken[from] { // a file holds each key once
				taken[from] = true
				coming = append(coming, records.Dated[ids.TrainerID]{Owner: ids.TrainerID{1}, Days: calendar.Span{From: from, To: from.AddDays(rapid.IntRange(1, 9).Draw(t, "days"))}})
			}
		}
		rows := make([]records.Row, len(coming))
		for i := range rows {
			rows[i] = records.NewRow(table.Rows[0], nil)
		}

		fits, wrong := records.PlaceDated(rows, known, coming, "loan", "trainer")
		require.Len(t, coming, len(fits)+len(wrong))
		require.True(t, slices.IsSorted(fits))

		after := map[calendar.Date]calendar.Span{}
		for _, k := range known {
			after[k.Days.From] = k.Days
		}
		for _, i := range fits {
			after[coming[i].Days.From] = coming[i].Days
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
			clash := slices.ContainsFunc(known, func(k records.Dated[ids.TrainerID]) bool {
				return k.Days.From != coming[0].Days.From && k.Days.Overlaps(coming[0].Days)
			})
			require.Equal(t, clash, len(wrong) == 1)
		}
	})
}

// drawSpans draws spans in order that share no day.
func drawSpans(t *rapid.T, first calendar.Date) []calendar.Span {
	var spans []calendar.Span
	for range rapid.IntRange(0, 4).Draw(t, "spans") {
		first = first.AddDays(rapid.IntRange(0, 9).Draw(t, "gap"))
		to := first.AddDays(rapid.IntRange(1, 9).Draw(t, "days"))
		spans = append(spans, calendar.Span{From: first, To: to})
		first = to
	}
	return spans
}
