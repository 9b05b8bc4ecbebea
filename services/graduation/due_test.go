package graduation

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/planner"
)

func denver(t testing.TB) *time.Location {
	t.Helper()
	zone, err := calendar.LoadZone("America/Denver")
	require.NoError(t, err)
	return zone
}

// TestTurnsOnClockChanges: a site's ten o'clock is that of its clocks on both days on which they change. Source: IANA time zone database, from
// memory.
func TestTurnsOnClockChanges(t *testing.T) {
	t.Parallel()
	r := usual(ids.SiteID{}, LetterDayBefore)
	for _, c := range []struct{ last, now, want string }{
		{"2027-03-13T17:00:00Z", "2027-03-14T16:00:30Z", "2027-03-14T16:00:00Z"}, // clocks went forward that night: 23 hours later
		{"2027-11-06T16:00:00Z", "2027-11-07T17:00:00Z", "2027-11-07T17:00:00Z"}, // and back: 25 hours later
		{"2027-03-10T17:00:00Z", "2027-03-20T12:00:00Z", "2027-03-19T16:00:00Z"}, // of nine turns that were missed the last counts
	} {
		last, now := instant(t, c.last), instant(t, c.now)
		at, due, err := r.turnDue(last, now, denver(t))
		require.NoError(t, err)
		require.True(t, due)
		outside.Check(t, "America/Denver 10:00 after "+c.last, "IANA time zone database, from memory", c.want, at.UTC().Format(time.RFC3339))
		_, due, err = r.turnDue(at, now, denver(t))
		require.NoError(t, err)
		require.False(t, due, "a turn comes once")
	}
	_, due, err := r.turnDue(instant(t, "2027-11-06T16:00:00Z"), instant(t, "2027-11-07T16:59:59Z"), denver(t))
	require.NoError(t, err)
	require.False(t, due, "at the first nine o'clock and the second it is not ten yet")
	r.Line = ""
	_, due, err = r.turnDue(time.Time{}, instant(t, "2027-11-07T17:00:00Z"), denver(t))
	require.NoError(t, err)
	require.False(t, due, "off is off")
}

func instant(t testing.TB, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	require.NoError(t, err)
	return at
}

// TestNobodyIsForgotten: whenever looks come, and whichever of them are missed, an appointment that is known two days and more before its day
// is due for the letter of the day before at one turn at least that is looked at before it begins, as long as one look comes between that
// turn and the appointment.
func TestNobodyIsForgotten(t *testing.T) {
	t.Parallel()
	zone := denver(t)
	rapid.Check(t, func(t *rapid.T) {
		begins := time.Date(2027, 3, 1, 15, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 400*4).Draw(t, "quarters")) * 15 * time.Minute)
		a := handover.Appointment{Purpose: handover.PurposeHandover, State: handover.Offered, Slot: handover.Slot{Begins: begins, Ends: begins.Add(90 * time.Minute)}}
		r := usual(ids.SiteID{}, LetterDayBefore)
		last, told := time.Time{}, 0
		turn := lastTurnBefore(t, r, begins, zone)
		looked := false
		for now := begins.Add(-70 * time.Hour); now.Before(begins); now = now.Add(time.Duration(rapid.IntRange(1, 400).Draw(t, "pause")) * time.Minute) {
			at, due, err := r.turnDue(last, now, zone)
			if err != nil {
				t.Fatal(err)
			}
			looked = looked || !now.Before(turn)
			if due {
				last = at
				if r.remindOf(a, 1, at, now, zone) {
					told++
				}
			}
		}
		if looked && told == 0 {
			t.Fatalf("the owner of %s was not reminded", begins)
		}
		if told > 1 {
			t.Fatalf("the owner of %s is due %d times", begins, told)
		}
	})
}

// lastTurnBefore is the turn on the day before an appointment.
func lastTurnBefore(t *rapid.T, r Reminder, begins time.Time, zone *time.Location) time.Time {
	day := calendar.DateIn(begins, zone).AddDays(-1)
	at, err := calendar.At(day, calendar.MustClock("10:00"), zone)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// TestWhoIsReminded lists who is, at a turn of Monday 1 March at ten.
func TestWhoIsReminded(t *testing.T) {
	t.Parallel()
	zone := denver(t)
	turn := instant(t, "2027-03-01T17:00:00Z")
	week, day := usual(ids.SiteID{}, LetterWeekBefore), usual(ids.SiteID{}, LetterDayBefore)
	long := turn.Add(-72 * time.Hour)
	for _, c := range []struct {
		name    string
		begins  string
		state   handover.State
		purpose handover.Purpose
		changed time.Time
		week    bool
		day     bool
	}{
		{"a week ahead", "2027-03-08T16:00:00Z", handover.Confirmed, handover.PurposeHandover, long, true, false},
		{"a week ahead, before ten", "2027-03-08T15:00:00Z", handover.Offered, handover.PurposeHandover, long, true, false},
		{"eight days ahead", "2027-03-09T16:00:00Z", handover.Offered, handover.PurposeHandover, long, false, false},
		{"two days ahead", "2027-03-03T16:00:00Z", handover.Offered, handover.PurposeHandover, long, true, false},
		{"two days ahead, told an hour ago", "2027-03-03T16:00:00Z", handover.Offered, handover.PurposeHandover, turn.Add(-time.Hour), false, false},
		{"tomorrow", "2027-03-02T16:00:00Z", handover.Offered, handover.PurposeHandover, long, false, true},
		{"tomorrow, told an hour ago", "2027-03-02T16:00:00Z", handover.Offered, handover.PurposeHandover, turn.Add(-time.Hour), false, true},
		{"today", "2027-03-01T22:00:00Z", handover.Confirmed, handover.PurposeHandover, long, false, false},
		{"tomorrow, cancelled", "2027-03-02T16:00:00Z", handover.Cancelled, handover.PurposeHandover, long, false, false},
		{"tomorrow, a lesson", "2027-03-02T16:00:00Z", handover.Confirmed, handover.PurposeLesson, long, false, false},
		{"the owner asks for another time", "2027-03-02T16:00:00Z", handover.Asked, handover.PurposeHandover, long, false, true},
	} {
		a := handover.Appointment{Purpose: c.purpose, State: c.state, ChangedAt: c.changed, Slot: handover.Slot{Begins: instant(t, c.begins)}}
		require.Equal(t, c.week, week.remindOf(a, 1, turn, turn, zone), "%s: week", c.name)
		require.Equal(t, c.day, day.remindOf(a, 1, turn, turn, zone), "%s: day", c.name)
	}
	late := handover.Appointment{Purpose: handover.PurposeHandover, State: handover.Offered, Slot: handover.Slot{Begins: instant(t, "2027-03-02T16:00:00Z")}}
	require.True(t, day.remindOf(late, 1, turn, instant(t, "2027-03-02T15:00:00Z"), zone), "a turn that was missed is caught up while it is of use")
	require.False(t, day.remindOf(late, 1, turn, instant(t, "2027-03-02T16:00:00Z"), zone), "and not after")
}

// TestImpossibleReminders: each has a clear answer.
func TestImpossibleReminders(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		r    Reminder
		want string
	}{
		{Reminder{Letter: "birthday", Line: "0 10 * * *"}, "write one of enrolment, arrival, week-before, day-before"},
		{Reminder{Letter: LetterDayBefore, Line: "0 10 * *", Days: 1}, "has 4 fields"},
		{Reminder{Letter: LetterDayBefore, Line: "0 10 31 2 *", Days: 1}, "no calendar has"},
		{Reminder{Letter: LetterDayBefore, Line: "CRON_TZ=UTC 0 10 * * *", Days: 1}, "names a zone"},
		{Reminder{Letter: LetterDayBefore, Line: "0 10 * * *"}, "must be 1 or more"},
		{Reminder{Letter: LetterEnrolment, Line: "0 10 * * *", Days: 3}, "makes no sense"},
	} {
		err := c.r.check(denver(t))
		require.Equal(t, apperr.Invalid, apperr.KindOf(err), c.want)
		require.ErrorContains(t, err, c.want)
	}
	for _, letter := range Letters() {
		require.NoError(t, usual(ids.SiteID{}, letter).check(denver(t)))
	}
}

// TestWhichDaysAreArranged: those with somebody for whom nothing stands.
func TestWhichDaysAreArranged(t *testing.T) {
	t.Parallel()
	zone, mint := denver(t), ids.NewMint()
	now := instant(t, "2027-03-01T17:00:00Z")
	to := calendar.MustDate("2027-03-09")
	stay := planner.Stay{ID: ids.StayID(mint()), RequestID: ids.RequestID(mint()), Nights: calendar.Span{From: to.AddDays(-14), To: to}}
	on := func(begins string, state handover.State, of ids.StayID) []handover.Appointment {
		return []handover.Appointment{{Purpose: handover.PurposeHandover, State: state, StayID: of, RequestID: stay.RequestID, Slot: handover.Slot{Begins: instant(t, begins)}}}
	}
	tried := func(on calendar.Date, ago time.Duration) []Unplaced {
		return []Unplaced{{RequestID: stay.RequestID, Day: on, FoundAt: now.Add(-ago)}}
	}
	for _, c := range []struct {
		name     string
		all      []handover.Appointment
		unplaced []Unplaced
		want     bool
	}{
		{"nothing yet", nil, nil, true},
		{"an offer", on("2027-03-09T16:00:00Z", handover.Offered, stay.ID), nil, false},
		{"cancelled", on("2027-03-09T16:00:00Z", handover.Cancelled, stay.ID), nil, true},
		{"the stay was extended", on("2027-03-02T16:00:00Z", handover.Confirmed, ids.StayID(mint())), nil, true},
		{"the stay has another run", on("2027-03-09T16:00:00Z", handover.Confirmed, ids.StayID(mint())), nil, true},
		{"the owner asks for another time", on("2027-03-08T16:00:00Z", handover.Asked, stay.ID), nil, false},
		{"the owner did not come, and the run is kept", on("2027-03-08T16:00:00Z", handover.Missed, ids.StayID(mint())), nil, false},
		{"held", on("2027-03-09T16:00:00Z", handover.Held, stay.ID), nil, false},
		{"tried just now", nil, tried(to, time.Minute), false},
		{"tried just now for another day", nil, tried(to.AddDays(-1), time.Minute), true},
		{"tried an hour ago", nil, tried(to, time.Hour), true},
	} {
		days := daysToArrange([]planner.Stay{stay}, c.all, c.unplaced, zone, now)
		require.Equal(t, c.want, len(days) == 1, c.name)
	}
}
