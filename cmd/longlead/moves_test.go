package main

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// TestStudyOfMovesInWords prints a study in which everything happens that can.
func TestStudyOfMovesInWords(t *testing.T) {
	t.Parallel()
	stand := func(site, day, trainer string) *plannerv1.Stand {
		return &plannerv1.Stand{SiteCode: site, Arrival: day, TrainerCode: trainer}
	}
	study := &plannerv1.MoveStudy{Month: "2027-03", State: plannerv1.MoveStudyState_MOVE_STUDY_STATE_DONE, Requests: 50, Promises: 30,
		Points: []*plannerv1.MovePoint{
			{Moves: 0, Impossible: true},
			{Moves: 1, Bound: 4000},
			{Moves: 2, Found: true, Moved: 2, Placed: 43, Points: 3900, Bound: 4100, GapPercent: 5.13, PolicyPoints: 6100, MorePlaced: 2, MorePoints: 120,
				Gained: []string{"M-7", "M-8", "M-9"}, Lost: []string{"M-2"}, MoveList: []*plannerv1.Move{
					{RequestCode: "M-1", DogName: "Bo", From: stand("HILL", "2027-03-01", "T-1"), To: stand("HILL", "2027-03-03", "T-1")},
					{RequestCode: "M-2", DogName: "Fly", From: stand("FENN", "2027-03-02", "T-2")}}},
			{Moves: 5, Found: true, Moved: 2, Placed: 43, Points: 3900, Bound: 4200, MoveList: []*plannerv1.Move{{RequestCode: "M-1"}, {RequestCode: "M-2"}}},
		},
		Broken: []*plannerv1.BrokenPromise{{RequestCode: "M-3", DogName: "Ada", Promised: stand("FENN", "2027-03-09", "T-3"), Reason: "trainer T-3 is not there"}}}
	var out bytes.Buffer
	printStudy(&out, &Options{}, study)
	text := out.String()
	for _, line := range []string{
		"Moving promises in 2027-03: 50 requests, 30 promises that could stay or move; done",
		"0  impossible",
		"Impossible: the promises do not fit together any more",
		"1  none found",
		"With 2 moved: +2 placed, +120 points. Placed now: M-7 M-8 M-9. No longer placed: M-2.",
		"M-1      Bo   HILL 2027-03-01 with T-1  HILL 2027-03-03 with T-1",
		"M-2      Fly  FENN 2027-03-02 with T-2  given up",
		"Promises that cannot stay as they are whatever is decided (1)",
		"M-3      Ada  FENN 2027-03-09 with T-3  trainer T-3 is not there",
	} {
		require.Contains(t, text, line)
	}
	for _, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, " ")), 120, line)
	}
	require.Equal(t, 1, strings.Count(text, "With 2 moved"), "the same plan is told once")
	require.NotContains(t, text, "Nothing is promised")
}
