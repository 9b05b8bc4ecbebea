// Package dogs is the page of one dog, for whoever is about to handle it or to talk to its owner: what to beware of comes first, then whether it will be
// ready, then what that rests on. The steps that change its stay, keeping it longer and isolating it, are shown with all that they touch before they
// are taken.
package dogs

import (
	"embed"
	"fmt"
	"net/url"
	"time"

	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

//go:embed templates/*.html
var files embed.FS

var (
	dogPage     = frame.Parse(files, "templates/dog.html")
	extendPage  = frame.Parse(files, "templates/extend.html")
	isolatePage = frame.Parse(files, "templates/isolate.html")
)

const (
	reads = accessv1.Permission_PERMISSION_READ_RECORDS
	plans = accessv1.Permission_PERMISSION_READ_PLANS
	mends = accessv1.Permission_PERMISSION_MEND_STAYS
)

// Pages are the addresses.
func Pages() []frame.Page {
	return []frame.Page{
		{Pattern: "GET /dog/{code}", Needs: reads, Serve: showDog},
		{Pattern: "GET /dog/{code}/extend", Needs: mends, Serve: showExtend},
		{Pattern: "POST /dog/{code}/extend", Needs: mends, Serve: extend},
		{Pattern: "GET /dog/{code}/isolate", Needs: mends, Serve: showIsolate},
		{Pattern: "POST /dog/{code}/isolate", Needs: mends, Serve: isolate},
	}
}

// shownSessions is how many of the latest sessions stand on the page.
const shownSessions = 12

type dogView struct {
	*enrollmentv1.ReadDogResponse
	Path   string
	Weight string
	// today is the day at the site of the stay; in UTC without one.
	today    string
	Cautions []caution
	Stay     *plannerv1.Stay
	// Here says that the dog is at the site today.
	Here      bool
	Readiness *readinessv1.Readiness
	// Unready says why there is no reckoning; Outlook and Assumes are what must be read with one.
	Unready, Outlook, Assumes string
	Bar                       *bar
	Rungs                     []rung
	Sessions                  []session
	Older                     int
	Shots                     []shot
	Changes                   []*plannerv1.StayChange
	Requests                  []request
	MayMend, MayCall, MayEdit bool
}

type request struct {
	*enrollmentv1.Request
	Path string
}

// shot is a vaccination; Ends says that its label runs out before the dog goes home.
type shot struct {
	*enrollmentv1.Vaccination
	Ends, Planned bool
}

func showDog(v *frame.Visit) error {
	got, err := enrollmentv1.NewEnrollmentServiceClient(v.Conn).ReadDog(v.Context(), &enrollmentv1.ReadDogRequest{DogCode: v.Path("code")})
	if err != nil {
		return err
	}
	view := &dogView{ReadDogResponse: got, Path: pathOf(got.GetCode()), Weight: fmt.Sprintf("%d.%d kg", got.GetWeightG()/1000, got.GetWeightG()%1000/100),
		MayEdit: v.May(accessv1.Permission_PERMISSION_WRITE_RECORDS)}
	view.MayCall = view.MayEdit || v.May(accessv1.Permission_PERMISSION_MANAGE_HANDOVERS)
	view.today = v.Now().UTC().Format(time.DateOnly)
	for _, r := range got.GetRequests() {
		view.Requests = append(view.Requests, request{r, "/request/" + url.PathEscape(r.GetCode())})
	}
	if err := view.stand(v); err != nil {
		return err
	}
	if err := view.train(v); err != nil {
		return err
	}
	view.Cautions = cautionsOf(got, view.today)
	view.shots(view.today)
	return v.Show(dogPage, view)
}

func pathOf(code string) string { return "/dog/" + url.PathEscape(code) }

// stand reads the stay with its history, and how ready the dog is.
func (d *dogView) stand(v *frame.Visit) error {
	if len(d.Requests) == 0 || !v.May(plans) {
		return nil
	}
	var codes []string
	for _, r := range d.Requests[:min(len(d.Requests), 20)] {
		codes = append(codes, r.GetCode())
	}
	got, err := plannerv1.NewStandingServiceClient(v.Conn).ReadStandings(v.Context(), &plannerv1.ReadStandingsRequest{RequestCodes: codes})
	if err != nil {
		return err
	}
	for _, s := range got.GetStandings() {
		stay := s.GetStay()
		// The requests come with the latest window first: of stays that are not over the earliest counts, else the latest.
		if stay != nil && stay.GetState() != "cancelled" && (d.Stay == nil || stay.GetGraduation() >= d.today) {
			d.Stay = stay
		}
	}
	history, err := plannerv1.NewMendServiceClient(v.Conn).ReadStayHistory(v.Context(), &plannerv1.ReadStayHistoryRequest{DogCode: d.GetCode()})
	if t := frame.TroubleOf(err); err != nil && t.Status >= 500 {
		return err
	}
	d.Changes = history.GetChanges()
	if d.Stay == nil {
		return nil
	}
	if err := d.readDay(v); err != nil {
		return err
	}
	today := d.today
	d.Here = d.Stay.GetArrival() <= today && today <= d.Stay.GetGraduation() && d.Stay.GetState() != "gone home"
	d.MayMend = v.May(mends) && d.Stay.GetGraduation() >= today && d.Stay.GetState() != "gone home"
	return d.ready(v)
}

// readDay finds out which day it is at the site of the stay.
func (d *dogView) readDay(v *frame.Visit) error {
	sites, err := facilityv1.NewFacilityServiceClient(v.Conn).ListSites(v.Context(), &facilityv1.ListSitesRequest{})
	if err != nil {
		return err
	}
	for _, s := range sites.GetSites() {
		if zone, err := time.LoadLocation(s.GetZone()); err == nil && s.GetCode() == d.Stay.GetSiteCode() {
			d.today = v.Now().In(zone).Format(time.DateOnly)
		}
	}
	return nil
}

func (d *dogView) ready(v *frame.Visit) error {
	got, err := readinessv1.NewReadinessServiceClient(v.Conn).GetReadiness(v.Context(), &readinessv1.GetReadinessRequest{DogCode: d.GetCode(), Day: d.today})
	if err != nil {
		t := frame.TroubleOf(err)
		if t.Status >= 500 {
			return err
		}
		d.Unready = t.Text
		return nil
	}
	d.Readiness, d.Outlook, d.Assumes = got.GetReadiness(), got.GetCaution(), got.GetAssumes()
	if all := d.Readiness.GetAll(); all != nil {
		d.Bar = barOf(all)
	}
	return nil
}

// train reads the sessions, and draws the skills from those of this stay.
func (d *dogView) train(v *frame.Visit) error {
	got, err := trainingv1.NewTrainingServiceClient(v.Conn).ListSessions(v.Context(), &trainingv1.ListSessionsRequest{DogCode: d.GetCode()})
	if err != nil {
		return err
	}
	names := map[string]string{}
	for _, s := range d.Readiness.GetSkills() {
		names[s.GetCode()] = s.GetName()
		d.Rungs = append(d.Rungs, rungOf(s, d.Readiness, got.GetSessions(), d.today))
	}
	all := got.GetSessions()
	for i := len(all) - 1; i >= 0 && len(d.Sessions) < shownSessions; i-- {
		d.Sessions = append(d.Sessions, sessionOf(all[i], names))
	}
	d.Older = len(all) - len(d.Sessions)
	return nil
}

func (d *dogView) shots(today string) {
	last := map[string]string{}
	for _, s := range d.GetVaccinations() {
		last[s.GetVaccine()] = max(last[s.GetVaccine()], s.GetLabelUntil())
	}
	until := max(d.Stay.GetGraduation(), today)
	for _, s := range d.GetVaccinations() {
		d.Shots = append(d.Shots, shot{s, s.GetLabelUntil() == last[s.GetVaccine()] && s.GetLabelUntil() < until, s.GetGiven() > today})
	}
}

// Flag is the readiness in a word.
func (d *dogView) Flag() string {
	return map[readinessv1.Flag]string{readinessv1.Flag_FLAG_AT_RISK: "At risk", readinessv1.Flag_FLAG_TOO_FEW_DATA: "Too few data",
		readinessv1.Flag_FLAG_NO_TARGETS: "No targets", readinessv1.Flag_FLAG_ON_COURSE: "On course"}[d.Readiness.GetFlag()]
}

// Warned says that the readiness has to be looked at.
func (d *dogView) Warned() bool {
	return d.Readiness.GetFlag() == readinessv1.Flag_FLAG_AT_RISK || d.Readiness.GetFlag() == readinessv1.Flag_FLAG_TOO_FEW_DATA
}

// StayWord is the state of the stay in a word of the trade.
func (d *dogView) StayWord() string {
	switch state := d.Stay.GetState(); {
	case state == "gone home":
		return "gone home"
	case d.Here:
		return "here"
	case state == "published":
		return "promised"
	default:
		return state
	}
}
