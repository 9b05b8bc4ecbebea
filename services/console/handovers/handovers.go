// Package handovers is a day of appointments with owners at a site. What is decided there is whom to call: so those come first of whom something is
// still to be settled, each with why and with the number; then the day as it will run. An appointment has a page of its own with what can be
// done in its state, and with what each step changes and tells the owner, before it is done. Which steps there are is asked of package handover,
// which decides.
package handovers

import (
	"embed"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
)

//go:embed templates/*.html
var files embed.FS

var (
	dayPage     = frame.Parse(files, "templates/day.html")
	onePage     = frame.Parse(files, "templates/one.html")
	movePage    = frame.Parse(files, "templates/move.html")
	linkPage    = frame.Parse(files, "templates/link.html")
	arrangePage = frame.Parse(files, "templates/arrange.html")
)

const (
	sees    = accessv1.Permission_PERMISSION_READ_PLANS
	manages = accessv1.Permission_PERMISSION_MANAGE_HANDOVERS
	mails   = accessv1.Permission_PERMISSION_MANAGE_MAIL
)

// Section is the entry of the bar.
func Section() frame.Section {
	return frame.Section{Name: "Handovers", Path: "/handovers", Prefixes: []string{"/appointment"}, Needs: sees, Roles: []string{"manager", "site-lead", "office"}}
}

// Pages are the addresses.
func Pages() []frame.Page {
	pages := []frame.Page{
		{Pattern: "GET /handovers", Needs: sees, Serve: first},
		{Pattern: "GET /handovers/{site}/{day}", Needs: sees, Serve: showDay},
		{Pattern: "GET /handovers/{site}/{day}/times", Needs: manages, Serve: previewTimes},
		{Pattern: "POST /handovers/{site}/{day}/times", Needs: manages, Serve: findTimes},
		{Pattern: "GET /appointment/{id}", Needs: sees, Serve: showOne},
		{Pattern: "GET /appointment/{id}/move", Needs: manages, Serve: previewMove},
	}
	for name, do := range acts {
		pages = append(pages, frame.Page{Pattern: "POST /appointment/{id}/" + name, Needs: manages, Serve: do})
	}
	return pages
}

// site is a site as the pages show it.
type site struct {
	Code, Name string
	zone       *time.Location
}

// today is the day that clocks at the site show.
func (s site) today(v *frame.Visit) calendar.Date { return calendar.DateIn(v.Now(), s.zone) }

// sites reads all sites.
func sites(v *frame.Visit) ([]site, error) {
	got, err := facilityv1.NewFacilityServiceClient(v.Conn).ListSites(v.Context(), &facilityv1.ListSitesRequest{})
	if err != nil {
		return nil, err
	}
	var out []site
	for _, s := range got.GetSites() {
		zone, err := calendar.LoadZone(s.GetZone())
		if err != nil {
			return nil, err
		}
		out = append(out, site{s.GetCode(), s.GetName(), zone})
	}
	return out, nil
}

// siteOf finds a site by its code.
func siteOf(all []site, code string) (site, error) {
	i := slices.IndexFunc(all, func(s site) bool { return s.Code == code })
	if i < 0 {
		return site{}, apperr.NotFoundf("SITE_UNKNOWN", "There is no site %s.", code)
	}
	return all[i], nil
}

// dayPath is the page of a day at a site.
func dayPath(site, day string) string {
	return "/handovers/" + url.PathEscape(site) + "/" + url.PathEscape(day)
}

// first leads to today at the site that is somebody's, or to the site and day that they chose.
func first(v *frame.Visit) error {
	all, err := sites(v)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return apperr.Preconditionf("NO_SITES", "There is no site yet: bring the records of the school in first.")
	}
	here := all[0]
	for _, code := range []string{v.Person.SiteCode, v.Query("site")} {
		if s, err := siteOf(all, code); err == nil {
			here = s
		}
	}
	day := here.today(v)
	if d, err := calendar.ParseDate(v.Query("day")); err == nil {
		day = d
	}
	return v.To(dayPath(here.Code, day.String()))
}

// hours cuts the hours out of two local times: "2027-03-20 10:00" and "2027-03-20 11:30" give "10:00 to 11:30".
func hours(starts, ends string) string { return clock(starts) + " to " + clock(ends) }

func clock(local string) string {
	_, c, _ := strings.Cut(local, " ")
	return c
}

func dayOf(local string) string {
	d, _, _ := strings.Cut(local, " ")
	return d
}
