package main

import (
	"fmt"
	"io"

	"github.com/jedib0t/go-pretty/v6/table"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// longDayWords sums up the days that a plan fills beyond trainers' easy share.
func longDayWords(sites []*plannerv1.SiteTotals) string {
	days, points := int32(0), int64(0)
	for _, s := range sites {
		days, points = days+s.GetLongDays(), points+s.GetLongDayPoints()
	}
	return fmt.Sprintf("%d, %+d points", days, points)
}

// printLongDays says by site what the plan takes for long days, and with the placements lists them all.
func printLongDays(out io.Writer, plan *plannerv1.ReadPlanResponse, detail int) {
	for _, s := range plan.GetSites() {
		if s.GetLongDays() > 0 {
			fmt.Fprintf(out, "Of the value of %s, %+d points are for %d trainers' days beyond their easy share.\n", s.GetSiteCode(), s.GetLongDayPoints(), s.GetLongDays())
		}
	}
	if detail < showPlacements || len(plan.GetLongDays()) == 0 {
		return
	}
	fmt.Fprintln(out)
	t := newTable(out, "site", "trainer", "long day", "points", "why")
	for _, d := range plan.GetLongDays() {
		t.AppendRow(table.Row{d.GetSiteCode(), d.GetTrainerCode(), d.GetDay(), d.GetPoints(), d.GetText()})
	}
	t.Render()
}
