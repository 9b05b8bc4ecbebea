package letters

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"

	"github.com/longlead/longlead/services/console/frame"

	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
)

// timesView is when letters go at one site.
type timesView struct {
	Site    string
	Zone    string
	Sites   []string
	Times   []letterTime
	Trouble *frame.Trouble
}

// letterTime is when letters of a kind go.
type letterTime struct {
	*graduationv1.Reminder
	// Word is what the letter is about; When says when it goes.
	Word, When string
	// Clock is the time of day of letters that go once a day; empty where another line holds.
	Clock string
	// Typed is the line as it stands in the form.
	Typed string
	// Ahead says that the letters go some days before something.
	Ahead bool
	// Off says that none go.
	Off bool
	// Given are the days ahead as they stand in the form.
	Given string
	// Open unfolds the form, because what was written into it could not be taken.
	Open bool
}

// timeWords say what the letters are that go by themselves.
var timeWords = map[string]string{"enrolment": "a stay is promised", "arrival": "the dog arrives soon", "week-before": "the handover comes, days before", "day-before": "the handover comes, the day before"}

func timeOf(r *graduationv1.Reminder) letterTime {
	t := letterTime{Reminder: r, Word: timeWords[r.GetLetter()], Clock: clockOf(r.GetLine()), Typed: r.GetLine(), Off: r.GetLine() == "", Ahead: r.GetLetter() != "enrolment", Given: strconv.Itoa(max(1, int(r.GetDays())))}
	switch {
	case t.Off:
		t.When = "None go"
	case t.Clock != "":
		t.When = "Every day at " + t.Clock
	case everyMinutes.MatchString(r.GetLine()):
		t.When = "Every " + everyMinutes.FindStringSubmatch(r.GetLine())[1] + " minutes"
	default:
		t.When = "By the line " + r.GetLine()
	}
	if !t.Off && t.Ahead {
		t.When += fmt.Sprintf(", up to %d %s ahead", r.GetDays(), map[bool]string{true: "day", false: "days"}[r.GetDays() == 1])
	}
	return t
}

// everyMinutes is the line of a letter that goes several times an hour, at even distances.
var everyMinutes = regexp.MustCompile(`^\*/(2|3|4|5|6|10|12|15|20|30) \* \* \* \*$`)

// clockOf reads the time of day from the line of a letter that goes once each day.
func clockOf(line string) string {
	f := strings.Fields(line)
	if len(f) != 5 || f[2]+f[3]+f[4] != "***" {
		return ""
	}
	minute, err := strconv.Atoi(f[0])
	if err != nil {
		return ""
	}
	hour, err := strconv.Atoi(f[1])
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%02d:%02d", hour, minute)
}

// lineOf is the line of a letter that goes each day at a time of day.
func lineOf(clock string) string {
	hour, minute, ok := strings.Cut(clock, ":")
	if !ok {
		return clock // the call says what is wrong with it
	}
	return strings.TrimPrefix(minute, "0") + " " + strings.TrimPrefix(hour, "0") + " * * *"
}

// written puts back into the form what was written there and could not be taken.
func (t *letterTime) written(v *frame.Visit) {
	t.Open, t.Off, t.Given = true, v.Form("go") == "never", v.Form("days")
	if clock := v.Form("clock"); clock != "" {
		t.Clock = clock
	} else if t.Clock == "" {
		t.Typed = v.Form("line")
	}
}

func showTimes(v *frame.Visit) error { return times(v, v.Query("site"), nil) }

// times shows when letters go at a site: where none is named, the person's own or the first. With trouble it shows the form that was sent.
func times(v *frame.Visit, code string, trouble *frame.Trouble) error {
	sites, err := facilityv1.NewFacilityServiceClient(v.Conn).ListSites(v.Context(), &facilityv1.ListSitesRequest{})
	if err != nil {
		return err
	}
	view, status := timesView{Site: cmp.Or(code, v.Person.SiteCode), Trouble: trouble}, http.StatusOK
	for _, s := range sites.GetSites() {
		view.Sites = append(view.Sites, s.GetCode())
		view.Site = cmp.Or(view.Site, s.GetCode())
	}
	if view.Site != "" {
		got, err := graduationv1.NewGraduationServiceClient(v.Conn).ListReminders(v.Context(), &graduationv1.ListRemindersRequest{SiteCode: view.Site})
		if err != nil {
			return err
		}
		for _, r := range got.GetReminders() {
			one := timeOf(r)
			if trouble != nil && r.GetLetter() == v.Path("letter") {
				one.written(v)
			}
			view.Zone, view.Times = r.GetZone(), append(view.Times, one)
		}
	}
	if trouble != nil {
		status = trouble.Status
	}
	return v.ShowAs(status, timesPage, view)
}

// setTime keeps when letters of a kind go at a site.
func setTime(v *frame.Visit) error {
	req := &graduationv1.SetReminderRequest{SiteCode: v.Path("site"), Letter: v.Path("letter"), Off: v.Form("go") == "never"}
	if !req.GetOff() {
		req.Line = v.Form("line")
		if clock := v.Form("clock"); clock != "" {
			req.Line = lineOf(clock)
		}
		if days, given := v.Form("days"), v.Path("letter") != "enrolment"; given {
			n, err := strconv.ParseInt(days, 10, 32)
			if err != nil {
				n = -1 // the call says what is allowed
			}
			ahead := int32(n)
			req.Days = &ahead
		}
	}
	got, err := graduationv1.NewGraduationServiceClient(v.Conn).SetReminder(v.Context(), req)
	if t, ok := frame.Mendable(err); ok {
		return times(v, v.Path("site"), t)
	}
	if err != nil {
		return err
	}
	words := "Kept: none of these letters go from " + v.Path("site") + " any more."
	if next := got.GetReminder().GetNext(); next != "" {
		words = fmt.Sprintf("Kept: these letters go next at %s, by the clocks of %s.", next, v.Path("site"))
	}
	return v.Done("/letter-times?site="+url.QueryEscape(v.Path("site")), words)
}
