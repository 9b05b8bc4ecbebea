package roster

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// workWindow is the days that a check of a month has to see: whole ISO weeks, with one before and one after, so that a rest
// which reaches across the edge of the month is seen in full.
func workWindow(month calendar.Month) calendar.Span {
	return calendar.Span{From: monday(month.First()).AddDays(-7), To: monday(month.Last()).AddDays(14)}
}

// checkMonth holds the working days of a month against the rules of the sites, by trainer in the order given and then by
// day. days holds those of workWindow(month). Rest and weekly work reach across sites, so each rule sees all shifts of a
// trainer; what it finds counts where its own site is concerned (see concerned).
func checkMonth(month calendar.Month, trainers []Trainer, days []TrainerDay, rules []WorkRule, sites siteIndex) ([]WorkFinding, error) {
	ruleOf := map[ids.SiteID]WorkRule{}
	for _, r := range rules {
		ruleOf[r.SiteID] = r
	}
	byTrainer := map[ids.TrainerID][]TrainerDay{}
	for _, d := range days {
		byTrainer[d.TrainerID] = append(byTrainer[d.TrainerID], d)
	}
	var all []WorkFinding
	for _, t := range trainers {
		worked := byTrainer[t.ID]
		shifts, err := workedShifts(worked, sites)
		if err != nil {
			return nil, err
		}
		var found []WorkFinding
		for _, site := range sitesOf(worked) {
			rule, ok := ruleOf[site]
			if !ok {
				continue
			}
			broken, err := CheckWork(t.Code, shifts, workWindow(month), rule)
			if err != nil {
				return nil, err
			}
			for _, f := range broken {
				// Two sites with the same rule find the same thing where a week or a rest concerns both.
				if f.Day.Month() == month && concerned(site, f, worked) && !slices.Contains(found, f) {
					found = append(found, f)
				}
			}
		}
		slices.SortStableFunc(found, func(a, b WorkFinding) int { return cmp.Or(a.Day.Compare(b.Day), cmp.Compare(a.Rule, b.Rule)) })
		all = append(all, found...)
	}
	return all, nil
}

// workedShifts gives each working day the zone of its site.
func workedShifts(days []TrainerDay, sites siteIndex) ([]WorkedShift, error) {
	shifts := make([]WorkedShift, len(days))
	for i, d := range days {
		site := sites[d.SiteID]
		zone, err := calendar.LoadZone(site.Zone)
		if err != nil {
			return nil, fmt.Errorf("check the shifts at site %s: %w", site.Code, err)
		}
		shifts[i] = WorkedShift{Day: d.Day, Starts: d.Starts, Ends: d.Ends, MealMinutes: d.Meal, Zone: zone}
	}
	return shifts, nil
}

// sitesOf lists the sites worked at, in the order in which they first come.
func sitesOf(days []TrainerDay) []ids.SiteID {
	var sites []ids.SiteID
	for _, d := range days {
		if !slices.Contains(sites, d.SiteID) {
			sites = append(sites, d.SiteID)
		}
	}
	return sites
}

// concerned reports whether what a site's rule found is about work at that site: something of the week when any of its
// days was worked there, a rest when the shift on either side was, anything else when the shift of that day was.
func concerned(site ids.SiteID, f WorkFinding, days []TrainerDay) bool {
	last := -1 // the last day worked that is not after the finding
	for i, d := range days {
		if strings.HasPrefix(f.Rule, "weekly ") && d.SiteID == site && monday(d.Day) == monday(f.Day) {
			return true
		}
		if !d.Day.After(f.Day) {
			last = i
		}
	}
	if last >= 0 && days[last].SiteID == site {
		return true
	}
	return last > 0 && days[last-1].SiteID == site && (f.Rule == "daily rest" || f.Rule == "one shift at a time")
}
