package main

import (
	"fmt"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

// one reads one value of the database.
func one[T any](t *testing.T, s *consoletest.School, query string, args ...any) (value T) {
	t.Helper()
	require.NoError(t, s.Pool.QueryRow(t.Context(), query, args...).Scan(&value), query)
	return value
}

// TestAManagersMonth: a new manager comes in, brings in a list with faults and mends it; then a month is drafted, watched, stopped, compared, a
// request is held to its place once the cost was shown, and the month is published. All in a real browser, against a real database.
func TestAManagersMonth(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Work: true, Kept: true})
	b := newManager(t, s)
	consoletest.ImportFlow(t, s, b)
	if consoletest.UnderRace {
		return // three drafts take many minutes; the run without the detector makes them
	}
	done := consoletest.MonthFlow(t, s, b, "marta")
	require.Equal(t, "draft, stopped by marta", one[string](t, s, `select state || ', stopped by ' || finish_asked_by from planner.plan where id::text = $1`, done.Kept))
	require.Equal(t, "marta", one[string](t, s, `select min(made_by) from planner.pin where ended_at is null having count(*) = 1`))
	proposed := one[int](t, s, `select count(*)::int from planner.placement where standing = 'new' and plan_id::text = $1`, done.Published)
	require.Positive(t, proposed)
	require.Equal(t, proposed, one[int](t, s, `select count(*)::int from planner.stay where state = 'published'`))
}

// newManager comes in for the first time: with a wrong password, then with one that was made for her, which she must change.
func newManager(t *testing.T, s *consoletest.School) *consoletest.Browser {
	t.Helper()
	made, err := peoplev1.NewPeopleServiceClient(s.Conn).AddPerson(t.Context(), &peoplev1.AddPersonRequest{Login: "Marta", Name: "Marta Holm", Role: "manager"})
	require.NoError(t, err)
	require.NotEmpty(t, made.GetMadePassword())
	sessions := func() int {
		return one[int](t, s, `select count(*)::int from people.session s join people.person p on p.id = s.person_id where p.login = 'marta'`)
	}
	b := s.Browser(t, "")
	signIn := func(password string) {
		b.Fill(t, "[name=login]", "marta")
		b.Fill(t, "[name=password]", password)
		b.Click(t, "main form button")
	}
	b.Open(t, "/month")
	b.Await(t, "the door comes first", `location.pathname === "/sign-in"`)
	signIn("a guess of some length")
	b.Await(t, "a wrong password is told", `document.querySelector(".trouble") !== null`)
	require.Zero(t, sessions())
	signIn(made.GetMadePassword())
	b.Await(t, "a password of her own comes next", `location.pathname === "/password"`)
	require.Equal(t, 1, sessions())
	b.Open(t, "/month")
	b.Await(t, "and nothing before it", `location.pathname === "/password"`)
	const own = "walnut ferry thimble oak"
	for field, value := range map[string]string{"old": made.GetMadePassword(), "new": own, "again": own} {
		b.Fill(t, fmt.Sprintf("[name=%s]", field), value)
	}
	b.Click(t, "main form.fields button")
	b.Await(t, "it is changed", `document.querySelector(".notice")?.innerText.includes("Your password is changed")`)
	require.False(t, one[bool](t, s, `select must_change from people.person where login = 'marta'`))
	return b
}

// TestASiteLeadsAbsence: a trainer is away; what that changes is seen before it is kept.
func TestASiteLeadsAbsence(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	consoletest.PlanFlowDay(t, s)
	consoletest.AbsenceFlow(t, s)
	require.Equal(t, 1, one[int](t, s, `select count(*)::int from roster.absence a join roster.trainer t on t.id = a.trainer_id where t.code = 'AMINA' and a.days @> $1::date`, consoletest.FlowDay))
	require.Equal(t, 2, one[int](t, s, `select max(number) from dayplan.plan where day = $1::date`, consoletest.FlowDay))
}

// TestATrainersDayOnAPhone: sessions are logged with a connection and without, and sent once.
func TestATrainersDayOnAPhone(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	consoletest.PlanFlowDay(t, s)
	before := one[int](t, s, `select count(*)::int from training.session`)
	consoletest.TrainerFlow(t, s)
	require.Equal(t, 4, one[int](t, s, `select count(*)::int from training.session`)-before, "three sessions, and one once more as it was corrected")
}

// TestAnOwnerMovesAnAppointment: the private link is opened on a phone, which changes nothing; the time is confirmed with one tap, and moved with two.
func TestAnOwnerMovesAnAppointment(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	_, err := graduationv1.NewGraduationServiceClient(s.Conn).ArrangeHandovers(t.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: "TARN", Month: "2027-03"})
	require.NoError(t, err)
	// An appointment that may be moved to more than one other time.
	id := one[string](t, s, `select a.id::text from handover.appointment a join handover.offer o on o.appointment_id = a.id where a.state = 'offered'
		group by a.id having count(*) > 1 order by a.id limit 1`)
	now := func() string { return one[string](t, s, `select state from handover.appointment where id = $1`, id) }
	begins := func() string {
		return one[string](t, s, `select begins::text from handover.appointment where id = $1`, id)
	}
	link, err := handoverv1.NewHandoverServiceClient(s.Conn).MakeLink(t.Context(), &handoverv1.MakeLinkRequest{Which: id})
	require.NoError(t, err)
	address, err := url.Parse(link.GetUrl())
	require.NoError(t, err)

	b := s.Browser(t, "")
	b.Size(t, 360, 740)
	b.Open(t, address.Path)
	b.JudgeHere(t, "story-owner-360", 360)
	require.Equal(t, "offered", now(), "opening the page answers nothing")
	b.Click(t, `button[value="confirm"]`)
	b.Await(t, "the page says that it is agreed", `document.querySelector(".card.agreed") !== null`)
	require.Equal(t, "confirmed", now())

	before, shown := begins(), b.Text(t, ".card .when")
	b.Click(t, `input[name="offer"]`)
	b.Click(t, `button[value="choose"]`)
	b.Await(t, "the page shows another time", fmt.Sprintf(`(document.querySelector(".card.agreed .when")?.innerText ?? %q) !== %q`, shown, shown))
	require.NotEqual(t, before, begins())
	require.Equal(t, "confirmed", now())
	b.JudgeHere(t, "story-owner-moved-360", 360)
}
