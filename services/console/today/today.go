// Package today is a site's day for who leads the site: does it hold, and what has to be mended.
//
//	today.go    the addresses, and who is sent where
//	day.go      one day as it is read and shown
//	wrong.go    what is wrong or tight, before everything else
//	picture.go  the day on one line of time, by trainer or by area
//	risk.go     who may not be ready, which takes longer to reckon
//	report.go   an absence, a closed area, heat: what mending the day changes, before it counts
//
// What mends a day is looked at first: an address with all that was asked shows the differences and changes nothing, and a button keeps just
// those, or nothing where the day has changed meanwhile.
package today

import (
	"embed"
	"net/url"
	"slices"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
)

//go:embed templates/*.html
var files embed.FS

var (
	dayPage    = frame.Parse(files, "templates/day.html")
	repairPage = frame.Parse(files, "templates/repair.html")
	riskPage   = frame.Parse(files, "templates/risk.html")
)

const (
	mayRead = accessv1.Permission_PERMISSION_READ_PLANS
	mayPlan = accessv1.Permission_PERMISSION_PLAN_DAYS
)

// Section is the entry of the bar.
func Section() frame.Section { return frame.Section{Name: "Today", Path: "/today", Needs: mayRead} }

// Pages are the addresses of sites' days.
func Pages() []frame.Page {
	pages := []frame.Page{
		{Pattern: "GET /today", Needs: mayRead, Serve: choose},
		{Pattern: "GET /today/{site}", Needs: mayRead, Serve: findDay},
		{Pattern: "GET /today/{site}/{day}", Needs: mayRead, Serve: showDay},
		{Pattern: "GET /today/{site}/{day}/risk", Needs: mayRead, Serve: showRisk},
		{Pattern: "POST /today/{site}/{day}/plan", Needs: mayPlan, Serve: planDay},
	}
	for _, kind := range kinds() {
		pages = append(pages, frame.Page{Pattern: "GET /today/{site}/{day}/" + kind.path, Needs: mayPlan, Serve: kind.show},
			frame.Page{Pattern: "POST /today/{site}/{day}/" + kind.path, Needs: mayPlan, Serve: kind.keep})
	}
	return pages
}

func pathOf(site, day string) string {
	return "/today/" + url.PathEscape(site) + "/" + url.PathEscape(day)
}

func listSites(v *frame.Visit) ([]*facilityv1.Site, error) {
	got, err := facilityv1.NewFacilityServiceClient(v.Conn).ListSites(v.Context(), &facilityv1.ListSitesRequest{})
	return got.GetSites(), err
}

// choose sends a person to their own site, or to the first.
func choose(v *frame.Visit) error {
	sites, err := listSites(v)
	if err != nil {
		return err
	}
	if len(sites) == 0 {
		return apperr.Preconditionf("NO_SITE", "The school has no site yet. Under School the records of its sites are brought in.")
	}
	code := sites[0].GetCode()
	if slices.ContainsFunc(sites, func(s *facilityv1.Site) bool { return s.GetCode() == v.Person.SiteCode }) {
		code = v.Person.SiteCode
	}
	return v.To("/today/" + url.PathEscape(code))
}

// findDay sends on to the day that is asked for, or to the one that it is at the site.
func findDay(v *frame.Visit) error {
	if day := v.Query("day"); day != "" {
		if _, err := calendar.ParseDate(day); err != nil {
			return apperr.InvalidField("day", err.Error(), "write a day such as 2027-03-08")
		}
		return v.To(pathOf(v.Path("site"), day))
	}
	sites, err := listSites(v)
	if err != nil {
		return err
	}
	for _, s := range sites {
		if s.GetCode() == v.Path("site") {
			zone, err := calendar.LoadZone(s.GetZone())
			if err != nil {
				return err
			}
			return v.To(pathOf(s.GetCode(), calendar.DateIn(v.Now(), zone).String()))
		}
	}
	return apperr.NotFoundf("SITE_UNKNOWN", "There is no site with the code %q.", v.Path("site"))
}

// planDay plans a day, or plans it anew.
func planDay(v *frame.Visit) error {
	site, day := v.Path("site"), v.Path("day")
	_, err := dayplanv1.NewDayPlanServiceClient(v.Conn).PlanDay(v.Context(), &dayplanv1.PlanDayRequest{SiteCode: site, Day: day, EvenIfBegun: v.Form("begun") == "yes"})
	if t, ok := frame.Mendable(err); ok {
		view, err := readDay(v)
		if err != nil {
			return err
		}
		view.Trouble = t
		return v.ShowAs(t.Status, dayPage, view)
	}
	if err != nil {
		return err
	}
	return v.Done(pathOf(site, day), "The day is planned. The one before stays in the history.")
}
