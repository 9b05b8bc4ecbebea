package months

import (
	"fmt"
	"slices"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var sitePage = parse("site.html")

// siteView is one site of a plan by days.
type siteView struct {
	Head       head
	Code, Name string
	Totals     *plannerv1.SiteTotals
	Days       []string
	Marks      []mark
	Wide       int
	Strips     []strip
	Weeks      []string
	Trainers   []trainerWeeks
	Requests   string
	Sites      []siteLink
}

type siteLink struct{ Code, Path string }

// strip is one resource by days.
type strip struct {
	Name  string
	Full  int
	Bars  drawing
	Cells []stripDay
	// Minutes says that figures are minutes.
	Minutes bool
}

// stripDay is a figure of a strip.
type stripDay struct {
	Used, Capacity int64
	Full           bool
}

// trainerWeeks is a trainer's time by week.
type trainerWeeks struct {
	Code  string
	Weeks []stripDay
	Sum   stripDay
}

// showSite opens one site of a plan.
func showSite(v *frame.Visit) error {
	whole, err := readHead(v, v.Path("id"))
	if err != nil {
		return err
	}
	h, code := headOf(whole.GetPlan()), v.Path("site")
	view := siteView{Head: h, Code: code, Requests: h.Path + "/requests?" + query("site", code)}
	for _, t := range whole.GetSites() {
		view.Sites = append(view.Sites, siteLink{Code: t.GetSiteCode(), Path: path(h.Path+"/site", t.GetSiteCode())})
		if t.GetSiteCode() == code {
			view.Totals = t
		}
	}
	if view.Totals == nil {
		return apperr.NotFoundf("SITE_UNKNOWN", "Plan %d of %s has no site %q.", h.Number, h.Month, code)
	}
	names, _, err := siteNames(v)
	if err != nil {
		return err
	}
	view.Name = names[code]
	days, err := planner(v).ReadLoad(v.Context(), &plannerv1.ReadLoadRequest{PlanId: h.ID, SiteCode: code, By: plannerv1.LoadBy_LOAD_BY_DAY})
	if err != nil {
		return err
	}
	weeks, err := planner(v).ReadLoad(v.Context(), &plannerv1.ReadLoadRequest{PlanId: h.ID, SiteCode: code, By: plannerv1.LoadBy_LOAD_BY_WEEK})
	if err != nil {
		return err
	}
	if len(days.GetFirstDays()) > 0 {
		first, err := calendar.ParseDate(days.GetFirstDays()[0])
		if err != nil {
			return fmt.Errorf("the first day of a load: %w", err)
		}
		view.Marks, view.Wide = dayMarks(first, len(days.GetFirstDays())), len(days.GetFirstDays())*(dayWide+dayGap)
	}
	view.Days, view.Weeks = days.GetFirstDays(), weeks.GetFirstDays()
	view.Strips, view.Trainers = strips(days, !h.Promised), trainersByWeek(weeks)
	return v.Show(sitePage, view)
}

// strips are the resources of a site by days, but for trainers one by one: these are told by week.
func strips(reply *plannerv1.ReadLoadResponse, draft bool) []strip {
	var out []strip
	for _, l := range reply.GetLines() {
		alone := l.GetResource() == trainerMinutes && l.GetUnit() != ""
		if alone || slices.Max(append(l.GetCapacity(), 0)) == 0 {
			continue
		}
		s := strip{Name: stripName(l), Bars: dayBars(l.GetUsed(), l.GetCapacity(), draft), Minutes: perPiece(l.GetResource()) > 1}
		for i, used := range l.GetUsed() {
			d := stripDay{Used: used, Capacity: l.GetCapacity()[i]}
			if d.Full = d.Capacity > 0 && d.Used >= d.Capacity; d.Full {
				s.Full++
			}
			s.Cells = append(s.Cells, d)
		}
		out = append(out, s)
	}
	return out
}

func stripName(l *plannerv1.LoadLine) string {
	switch l.GetResource() {
	case runs:
		return "Runs of class " + l.GetUnit()
	case trainerMinutes:
		return "Trainers’ own dogs, minutes"
	case intakePlaces:
		return "Intake places"
	case handoverPlaces:
		return "Handover places"
	}
	return "All dogs, cover included, minutes"
}

// trainersByWeek are the minutes of each trainer by week.
func trainersByWeek(reply *plannerv1.ReadLoadResponse) []trainerWeeks {
	var out []trainerWeeks
	for _, l := range reply.GetLines() {
		if l.GetResource() != trainerMinutes || l.GetUnit() == "" {
			continue
		}
		t := trainerWeeks{Code: l.GetUnit()}
		for i, used := range l.GetUsed() {
			d := stripDay{Used: used, Capacity: l.GetCapacity()[i], Full: l.GetFullDays()[i] > 0}
			t.Sum.Used, t.Sum.Capacity = t.Sum.Used+d.Used, t.Sum.Capacity+d.Capacity
			t.Weeks = append(t.Weeks, d)
		}
		out = append(out, t)
	}
	return out
}
