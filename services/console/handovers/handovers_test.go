package handovers_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
)

// day is a school on which handovers of March at TARN have been appointed, and one of them.
type day struct {
	*consoletest.School
	one *graduationv1.Arranged
	// id is the appointment's, path its page, and list the page of its day.
	id, path, list string
}

func newDay(t testing.TB) *day {
	t.Helper()
	d := &day{School: consoletest.New(t, consoletest.Set{March: true})}
	got, err := graduationv1.NewGraduationServiceClient(d.Conn).ArrangeHandovers(t.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: "TARN", Month: "2027-03"})
	require.NoError(t, err)
	perDay := map[string]int{}
	for _, a := range got.GetArranged() {
		perDay[a.GetDay()]++
	}
	for _, a := range got.GetArranged() {
		if a.GetOffers() > 0 && (d.one == nil || perDay[a.GetDay()] > perDay[d.one.GetDay()]) {
			d.one = a
		}
	}
	require.NotNil(t, d.one)
	read := d.read(t, d.one.GetRequestCode())
	d.id = read.GetAppointment().GetId()
	d.path, d.list = "/appointment/"+d.id, "/handovers/TARN/"+d.one.GetDay()
	return d
}

func (d *day) read(t testing.TB, which string) *handoverv1.ReadHandoverResponse {
	t.Helper()
	got, err := handoverv1.NewHandoverServiceClient(d.Conn).ReadHandover(t.Context(), &handoverv1.ReadHandoverRequest{Which: which})
	require.NoError(t, err)
	return got
}

// other is another appointment at the site.
func (d *day) other(t *testing.T) *handoverv1.Appointment {
	t.Helper()
	list, err := handoverv1.NewHandoverServiceClient(d.Conn).ListHandovers(t.Context(), &handoverv1.ListHandoversRequest{SiteCode: "TARN", FirstDay: "2027-03-01", LastDay: "2027-03-31"})
	require.NoError(t, err)
	for _, a := range list.GetAppointments() {
		if a.GetId() != d.id {
			return a
		}
	}
	t.Fatal("there is no other appointment")
	return nil
}

func (d *day) state(t *testing.T) string { return d.read(t, d.id).GetAppointment().GetState() }

func TestADayOfHandovers(t *testing.T) {
	t.Parallel()
	d := newDay(t)
	dev := d.As(t, "office")
	require.True(t, strings.HasPrefix(dev.Get(t, "/handovers").Path, "/handovers/"), "leads to a day")
	require.Equal(t, d.list, dev.Get(t, "/handovers?site=TARN&day="+d.one.GetDay()).Path)
	page := dev.Get(t, d.list)
	require.Equal(t, http.StatusOK, page.Status)
	owner := d.read(t, d.id).GetAppointment()
	require.NotEmpty(t, owner.GetOwnerName())
	for _, says := range []string{"Handovers at Tarnholt Yard", d.one.GetDogName(), owner.GetOwnerPhone(), owner.GetTrainerName(), d.one.GetStarts() + " to " + d.one.GetEnds(), "Has not answered.", "invitation", "waiting for its time", d.path} {
		require.Contains(t, page.Body, says)
	}
	require.Equal(t, http.StatusNotFound, dev.Get(t, "/handovers/TARN/March").Status)
	require.Equal(t, http.StatusNotFound, dev.Get(t, "/handovers/MOON/2027-03-26").Status)

	// A dog that goes home on the day and has no time.
	_, err := handoverv1.NewHandoverServiceClient(d.Conn).CancelHandover(t.Context(), &handoverv1.CancelHandoverRequest{Which: d.id, Reason: "test"})
	require.NoError(t, err)
	page = dev.Get(t, d.list)
	require.Contains(t, page.Body, "Without a time.")
	require.Contains(t, page.Body, "request "+d.one.GetRequestCode())
	times := dev.Get(t, d.list+"/times")
	require.Equal(t, http.StatusOK, times.Status)
	require.Contains(t, times.Body, d.one.GetDogName())
	given := dev.Post(t, d.list+"/times", d.list+"/times", nil)
	require.Contains(t, given.Body, "1 time given, 0 moved")
	require.NotContains(t, given.Body, "Without a time.")
}

// TestStepsOfAnAppointment goes through what the office does, and looks at the page and at what was kept.
func TestStepsOfAnAppointment(t *testing.T) {
	t.Parallel()
	d := newDay(t)
	dev := d.As(t, "office")
	page := dev.Get(t, d.path)
	require.Equal(t, http.StatusOK, page.Status)
	require.Contains(t, page.Body, d.path+"/confirm")
	require.NotContains(t, page.Body, d.path+"/held", "it has not begun")
	require.Contains(t, page.Body, "The owner may choose instead")

	require.Contains(t, dev.Post(t, d.path, d.path+"/confirm", nil).Body, "Confirmed.")
	require.Equal(t, "confirmed", d.state(t))
	require.NotContains(t, dev.Get(t, d.path).Body, d.path+"/confirm")
	early := dev.Post(t, d.path, d.path+"/held", nil)
	require.Equal(t, http.StatusConflict, early.Status)
	require.Contains(t, early.Body, "has not begun yet")

	// Moved: first what it changes, then the step.
	to := d.one.GetDay() + "T15:00"
	preview := dev.Get(t, d.path+"/move?starts="+url.QueryEscape(to)+"&reason=asked+on+the+phone")
	for _, says := range []string{"What it changes", d.one.GetDay() + " 15:00", "though they had agreed to the old one", "withdrawn", `value="asked on the phone"`} {
		require.Contains(t, preview.Body, says)
	}
	require.Equal(t, "confirmed", d.state(t), "looking changes nothing")
	odd := dev.Get(t, d.path+"/move?starts="+url.QueryEscape(d.one.GetDay()+"T03:00")+"&trainer=AMINA")
	require.Contains(t, odd.Body, "Look at the hour.")
	require.Contains(t, odd.Body, "AMINA does not work at TARN on that day.")
	require.NotContains(t, preview.Body, "Look at the hour.")
	require.NotContains(t, preview.Body, "Not at work.")
	other := d.other(t)
	wrong := dev.Post(t, d.path+"/move?starts="+url.QueryEscape(to), d.path+"/move", url.Values{"starts": {other.GetSlot().GetStarts()}, "trainer": {other.GetSlot().GetTrainerCode()}})
	require.Equal(t, http.StatusConflict, wrong.Status, "that trainer has another appointment: %s", wrong.Body)
	none := dev.Post(t, d.path+"/move?starts="+url.QueryEscape(to), d.path+"/move", url.Values{"starts": {"tomorrow"}})
	require.Equal(t, http.StatusUnprocessableEntity, none.Status)

	free := d.read(t, d.id).GetOffers()
	require.NotEmpty(t, free)
	moved := dev.Post(t, d.path+"/move?starts="+url.QueryEscape(to), d.path+"/move", url.Values{"starts": {free[0].GetStarts()}, "trainer": {free[0].GetTrainerCode()}, "gate": {free[0].GetGate()}})
	require.Contains(t, moved.Body, "Moved. The owner is written to")
	require.Equal(t, free[0].GetStarts(), d.read(t, d.id).GetAppointment().GetSlot().GetStarts())
	require.Equal(t, "offered", d.state(t))

	require.Contains(t, dev.Post(t, d.path, d.path+"/late", url.Values{"minutes": {"20"}}).Body, "Noted.")
	require.Contains(t, dev.Get(t, d.path).Body, "late by 20 min")
	require.Equal(t, http.StatusUnprocessableEntity, dev.Post(t, d.path, d.path+"/late", url.Values{"minutes": {"many"}}).Status)

	link := dev.Post(t, d.path, d.path+"/link", nil)
	require.Contains(t, link.Body, "https://dogs.example.com/handover/")
	require.NotContains(t, dev.Get(t, d.path).Body, "https://dogs.example.com/handover/", "it is shown once")
	require.Contains(t, dev.Post(t, d.path, d.path+"/shut", nil).Body, "All private links of the stay are shut")

	bare := dev.Post(t, d.path, d.path+"/cancel", nil)
	require.Equal(t, http.StatusUnprocessableEntity, bare.Status)
	require.Contains(t, bare.Body, "Why is it cancelled?")
	require.Contains(t, dev.Post(t, d.path, d.path+"/cancel", url.Values{"reason": {"sold <b>out</b>"}}).Body, "Cancelled.")
	require.Equal(t, "cancelled", d.state(t))
	require.Contains(t, dev.Get(t, d.path).Body, "sold &lt;b&gt;out&lt;/b&gt;")
}

// TestTheDayItself: who did not come, and what was held.
func TestTheDayItself(t *testing.T) {
	t.Parallel()
	d := newDay(t)
	begins := d.read(t, d.id).GetAppointment().GetSlot().GetBeginsAt().AsTime()
	d.SetNow(begins.Add(30 * time.Minute))
	dev := d.As(t, "office")
	require.Contains(t, dev.Get(t, d.path).Body, d.path+"/held")
	next := begins.AddDate(0, 0, 3).Format("2006-01-02") + "T10:00"
	missed := dev.Post(t, d.path, d.path+"/missed", url.Values{"next": {next, ""}})
	require.Equal(t, http.StatusOK, missed.Status, missed.Body)
	require.Equal(t, "missed", d.state(t))
	require.Contains(t, dev.Get(t, d.list).Body, "Did not come.")

	a := d.other(t)
	other := &day{School: d.School, id: a.GetId(), path: "/appointment/" + a.GetId()}
	d.SetNow(a.GetSlot().GetBeginsAt().AsTime().Add(time.Hour))
	require.Contains(t, d.As(t, "office").Post(t, other.path, other.path+"/held", url.Values{"lesson": {""}}).Body, "Held.")
	require.Equal(t, "held", other.state(t))
	dev = d.As(t, "office")
	require.Contains(t, dev.Get(t, other.path).Body, other.path+"/lesson")
	require.Equal(t, http.StatusUnprocessableEntity, dev.Post(t, other.path, other.path+"/lesson", nil).Status)
	booked := dev.Post(t, other.path, other.path+"/lesson", url.Values{"lesson": {"2027-04-07T10:00"}})
	require.Contains(t, booked.Body, "The lesson is booked.")
	require.Contains(t, booked.Body, "Wed 7 Apr, 10:00 to")
	lesson := d.read(t, other.id).GetLessons()[0]
	require.Equal(t, "confirmed", lesson.GetState())
	require.Contains(t, dev.Get(t, "/appointment/"+lesson.GetId()).Body, "Lesson with")
}

// TestWhoMayNot sees the day and no step, and is refused each.
func TestWhoMayNot(t *testing.T) {
	t.Parallel()
	d := newDay(t)
	vera := d.As(t, "viewer")
	page := vera.Get(t, d.path)
	require.Equal(t, http.StatusOK, page.Status)
	require.NotContains(t, page.Body, "What can be done")
	require.NotContains(t, page.Body, `href="/letters/`)
	require.NotContains(t, vera.Get(t, d.list).Body, "Look for times")
	for _, step := range []string{"confirm", "late", "held", "missed", "offer", "cancel", "move", "link", "shut", "lesson"} {
		require.Equal(t, http.StatusForbidden, vera.Post(t, "/password", d.path+"/"+step, url.Values{"reason": {"x"}}).Status, step)
	}
	require.Equal(t, http.StatusForbidden, vera.Get(t, d.list+"/times").Status)
	require.Equal(t, http.StatusForbidden, vera.Get(t, "/letters").Status)
	require.Equal(t, "offered", d.state(t))
}

// TestHostileNames: whatever owners, dogs, wishes and trainers are called, it is text.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	d := newDay(t)
	const hostile = `"><script>alert(1)</script>'`
	for _, sql := range []string{`update enrollment.owner set name = $1, phone = $1`, `update enrollment.dog set name = $1`, `update roster.trainer set name = $1`, `update facility.site set name = $1`,
		`update handover.appointment set wish = $1, state = 'asked'`, `update handover.appointment set gate = $1`, `update handover.change set why = $1, changed_by = $1`,
		`update mail.letter set subject = $1, to_name = $1, note = $1, body_text = $1`} {
		_, err := d.Pool.Exec(t.Context(), sql, hostile)
		require.NoError(t, err, sql)
	}
	rosa := d.As(t, "manager")
	for _, path := range []string{d.list, d.path, d.path + "/move?starts=2027-03-26T10:00&area=" + url.QueryEscape(hostile) + "&reason=" + url.QueryEscape(hostile), d.list + "/times", "/letters"} {
		page := rosa.Get(t, path)
		require.Equal(t, http.StatusOK, page.Status, path)
		require.NotContains(t, page.Body, "<script>alert", path)
		require.Contains(t, page.Body, "&lt;script&gt;alert(1)", path)
	}
}

// TestStatements: a day costs as many statements with many appointments as with few.
func TestStatements(t *testing.T) {
	t.Parallel()
	d := newDay(t)
	dev := d.As(t, "office")
	empty := "/handovers/TARN/2027-06-15"
	dev.Get(t, d.list)
	full := d.Statements(func() { dev.Get(t, d.list) })
	require.LessOrEqual(t, full, int64(50))
	require.Equal(t, full, d.Statements(func() { dev.Get(t, d.list) }))
	require.LessOrEqual(t, d.Statements(func() { dev.Get(t, empty) }), full)
	t.Logf("%d statements for a day", full)
	one := d.Statements(func() { dev.Get(t, d.path) })
	require.LessOrEqual(t, one, int64(50))
	t.Logf("%d statements for an appointment", one)
}

func TestHandoversInABrowser(t *testing.T) {
	t.Parallel()
	d := newDay(t)
	_, err := d.Pool.Exec(t.Context(), `update handover.appointment set state = 'asked', wish = 'We are away on that day. Could it be the Saturday?' where id = $1`, d.id)
	require.NoError(t, err)
	b := d.Browser(t, "office")
	b.Judge(t, "handovers-day", d.list)
	b.Judge(t, "handovers-one", d.path)
	b.Judge(t, "handovers-move", d.path+"/move?starts="+d.one.GetDay()+"T15:00")
	_, err = handoverv1.NewHandoverServiceClient(d.Conn).CancelHandover(t.Context(), &handoverv1.CancelHandoverRequest{Which: d.id, Reason: "test"})
	require.NoError(t, err)
	b.Judge(t, "handovers-times", d.list+"/times")
	b.Judge(t, "handovers-day-without", d.list)
	for _, paper := range []string{"A4", "Letter"} {
		require.Equal(t, 1, b.Print(t, "handovers-day", paper), fmt.Sprintf("a day fits on a sheet of %s", paper))
	}
}

func BenchmarkPages(b *testing.B) {
	d := newDay(b)
	consoletest.TimePages(b, d.As(b, "office"), map[string]string{"day": d.list, "appointment": d.path, "times": d.list + "/times"})
}
