package handovers

import (
	"fmt"
	"html/template"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"
	"github.com/longlead/longlead/services/console/letters"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// The days around the one that is shown, for the line of days above it.
const daysBefore, daysAfter = 3, 10

// mark is how a state looks: a class of the design language, and its word.
type mark struct{ Class, Word string }

var marks = map[string]mark{
	"offered":   {"proposed", "not answered"},
	"confirmed": {"promised", "confirmed"},
	"asked":     {"waiting", "asks for another time"},
	"late":      {"waiting", "late"},
	"missed":    {"waiting", "did not come"},
	"held":      {"promised", "held"},
	"cancelled": {"ended", "cancelled"},
}

// row is an appointment as pages show it.
type row struct {
	*handoverv1.Appointment
	Path, Hours, Day string
	Mark             mark
	Lesson           bool
	// Dial is the owner's telephone number as an address; empty where there is none.
	Dial template.URL
	// Letter is the latest letter about it; nil where there is none, or where the person may read none.
	Letter *letters.Line
}

func rowOf(a *handoverv1.Appointment) row {
	r := row{Appointment: a, Path: "/appointment/" + a.GetId(), Hours: hours(a.GetSlot().GetStarts(), a.GetSlot().GetEnds()), Day: dayOf(a.GetSlot().GetStarts()),
		Mark: marks[a.GetState()], Lesson: a.GetPurpose() == "lesson"}
	r.Dial = dial(a.GetOwnerPhone())
	if a.GetState() == "late" {
		r.Mark.Word = fmt.Sprintf("late by %d min", a.GetLateMinutes())
	}
	return r
}

// dial is a telephone number as an address, of digits and plus signs only; empty where it has no digit.
func dial(phone string) template.URL {
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '+' {
			return r
		}
		return -1
	}, phone)
	if strings.Trim(digits, "+") == "" {
		return ""
	}
	return template.URL("tel:" + digits)
}

// call is somebody with whom something is to be settled.
type call struct {
	row
	Why, Text string
}

// settle says what is to be settled about an appointment.
func settle(r row) (c call, ok bool) {
	c.row = r
	reach := ""
	if r.Dial == "" {
		reach = " There is no telephone number of theirs on record."
	}
	switch {
	case r.GetState() == "held" || r.GetState() == "cancelled":
		return c, false
	case r.GetState() == "asked":
		c.Why, c.Text = "Asks for another time.", "The time that they have is kept until there is another one."+reach
	case r.GetState() == "missed":
		c.Why, c.Text = "Did not come.", r.GetDogName()+" stays until there is a next time."+reach
	case r.Letter != nil && r.Letter.Failed:
		c.Why, c.Text = "The letter reached nobody.", "It is "+r.Letter.State+"."+reach+" Correct the address, and send it again."
	case r.GetState() == "offered":
		c.Why, c.Text = "Has not answered.", strings.TrimSpace(reach)
	default:
		return c, false
	}
	return c, true
}

// near is a day close to the one that is shown.
type near struct {
	Path, Day   string
	Count, Open int
	Here        bool
}

type dayView struct {
	Site          site
	Sites         []site
	Day           string
	Near          []near
	Rows          []row
	Calls         []call
	Without       []*plannerv1.Stay
	Agreed, Total int
	MayManage     bool
	TimesPath     string
	Earlier       string
	Later         string
}

func showDay(v *frame.Visit) error {
	day, err := calendar.ParseDate(v.Path("day"))
	if err != nil {
		return apperr.NotFoundf("DAY_UNKNOWN", "This is no day. Write it like 2027-03-26.")
	}
	view := dayView{Day: day.String(), MayManage: v.May(manages)}
	if view.Sites, err = sites(v); err != nil {
		return err
	}
	if view.Site, err = siteOf(view.Sites, v.Path("site")); err != nil {
		return err
	}
	got, err := handoverv1.NewHandoverServiceClient(v.Conn).ListHandovers(v.Context(), &handoverv1.ListHandoversRequest{SiteCode: view.Site.Code,
		FirstDay: day.AddDays(-daysBefore).String(), LastDay: day.AddDays(daysAfter).String(), WithEnded: true})
	if err != nil {
		return err
	}
	view.take(got.GetAppointments(), day)
	if err := view.readLetters(v); err != nil {
		return err
	}
	for _, r := range view.Rows {
		if c, ok := settle(r); ok {
			view.Calls = append(view.Calls, c)
		}
	}
	if err := view.readGraduates(v, got.GetAppointments(), day); err != nil {
		return err
	}
	return v.Show(dayPage, view)
}

// take sorts appointments by day.
func (view *dayView) take(all []*handoverv1.Appointment, day calendar.Date) {
	by := map[string]*near{}
	for n := -daysBefore; n <= daysAfter; n++ {
		d := day.AddDays(n).String()
		view.Near = append(view.Near, near{Path: dayPath(view.Site.Code, d), Day: d, Here: n == 0})
	}
	for i := range view.Near {
		by[view.Near[i].Day] = &view.Near[i]
	}
	view.Earlier, view.Later = view.Near[0].Path, view.Near[len(view.Near)-1].Path
	view.TimesPath = dayPath(view.Site.Code, view.Day) + "/times"
	for _, a := range all {
		r := rowOf(a)
		if n := by[r.Day]; n != nil && a.GetState() != "cancelled" {
			n.Count++
			if a.GetState() == "offered" || a.GetState() == "asked" || a.GetState() == "missed" {
				n.Open++
			}
		}
		if r.Day != view.Day {
			continue
		}
		view.Rows = append(view.Rows, r)
		if a.GetState() != "cancelled" {
			view.Total++
		}
		if a.GetState() == "confirmed" || a.GetState() == "late" || a.GetState() == "held" {
			view.Agreed++
		}
	}
}

// readLetters finds the latest letter about each appointment of the day.
func (view *dayView) readLetters(v *frame.Visit) error {
	if !v.May(mails) || len(view.Rows) == 0 {
		return nil
	}
	keys := make([]string, len(view.Rows))
	for i, r := range view.Rows {
		keys[i] = r.GetId()
	}
	got, err := mailv1.NewMailServiceClient(v.Conn).ListLetters(v.Context(), &mailv1.ListLettersRequest{Keys: keys, Limit: 1000})
	if err != nil {
		return err
	}
	latest := map[string]*letters.Line{}
	for _, l := range got.GetLetters() { // the last one first
		if latest[l.GetKey()] == nil && l.GetState() != "superseded" {
			line := letters.LineOf(l, view.Site.zone)
			latest[l.GetKey()] = &line
		}
	}
	for i, r := range view.Rows {
		view.Rows[i].Letter = latest[r.GetId()]
	}
	return nil
}

// readGraduates finds stays that end on the day and have no appointment.
func (view *dayView) readGraduates(v *frame.Visit, all []*handoverv1.Appointment, day calendar.Date) error {
	got, err := plannerv1.NewPlannerServiceClient(v.Conn).ListStays(v.Context(), &plannerv1.ListStaysRequest{Month: day.String()[:7], SiteCode: view.Site.Code})
	if err != nil {
		return err
	}
	has := map[string]bool{}
	for _, a := range all {
		if a.GetPurpose() == "handover" && a.GetState() != "cancelled" {
			has[a.GetRequestCode()] = true
		}
	}
	for _, s := range got.GetStays() {
		if s.GetGraduation() == view.Day && !has[s.GetRequestCode()] && s.GetState() != "gone home" {
			view.Without = append(view.Without, s)
		}
	}
	return nil
}
