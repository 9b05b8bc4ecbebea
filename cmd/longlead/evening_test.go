package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// TestEveningsInWords prints times and days with everything that can come of them.
func TestEveningsInWords(t *testing.T) {
	t.Parallel()
	got := &dayplanv1.ListEveningsResponse{
		Times: []*dayplanv1.EveningTime{
			{SiteCode: "HILL", Zone: "America/Denver", At: "18:30", Usual: true, NextAt: timestamppb.New(time.Date(2027, 3, 9, 1, 30, 0, 0, time.UTC))},
			{SiteCode: "MOOR", Zone: "America/Chicago", ChangedBy: "ines"}},
		Evenings: []*dayplanv1.Evening{
			{SiteCode: "HILL", Day: "2027-03-09", Due: "2027-03-08 18:30", Outcome: dayplanv1.Evening_OUTCOME_PLANNED, Attempts: 1, Number: 2},
			{SiteCode: "HILL", Day: "2027-03-08", Due: "2027-03-07 18:30", Outcome: dayplanv1.Evening_OUTCOME_ASK, Note: strings.Repeat("a reason ", 20), Attempts: 1, Number: 1}}}
	var out bytes.Buffer
	printEvenings(&out, got)
	text := out.String()
	requireNarrow(t, text)
	for _, line := range []string{"HILL  America/Denver   18:30                usual   2027-03-09 01:30", "MOOR  America/Chicago  off                  ines",
		"HILL  2027-03-09  2027-03-08 18:30  planned  2         1", "ask", "a reason"} {
		require.Contains(t, text, line)
	}
	got.Evenings = nil
	out.Reset()
	printEvenings(&out, got)
	require.Contains(t, out.String(), "No day has been due yet")
}

// TestEveningOnTheCommandLine sets times and lists them.
func TestEveningOnTheCommandLine(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	require.Contains(t, must(t, "day", "evening", db), "usual")
	set := must(t, "day", "evening", "--site", "TARN", "--at", "17:45", db)
	require.Contains(t, set, "17:45")
	require.NotContains(t, set, "FENN")
	require.Contains(t, must(t, "day", "evening", "--site", "TARN", "--off", db), "off")
	require.True(t, json.Valid([]byte(must(t, "day", "evening", "--json", db))))
	for args, code := range map[string]int{"--at 17:45": exitUsage, "--site TARN --at 17:45 --off": exitUsage, "--site TARN --at quarter": exitUsage, "--site NOWHERE": exitRefused} {
		require.Equal(t, code, call(t, append([]string{"day", "evening", db}, strings.Fields(args)...)...).code, args)
	}
}
