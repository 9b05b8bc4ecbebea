package graduation_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/postgres"

	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
)

var sites = []string{"DRUM", "FENN", "QUILL", "TARN"}

// TestEveryGraduateGetsATime: at each site, each dog that goes home in March has an appointment on its graduation day, within the hours, with
// somebody who is at work, and no gate, trainer or area has two at once. All of it is recounted from the tables, without the package's own code.
func TestEveryGraduateGetsATime(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	graduates := s.count(t, `select count(*) from planner.stay where upper(nights) >= '2027-03-01' and upper(nights) < '2027-04-01' and state in ('published', 'confirmed', 'in residence')`)
	total := 0
	for _, site := range sites {
		got := s.arrange(t, site)
		require.Zero(t, got.GetGap(), "%s: the times are proven best", site)
		require.EqualValues(t, len(got.GetArranged()), got.GetPlaced()+got.GetMissing(), site)
		for _, x := range got.GetArranged() {
			if x.GetOutcome() == graduationv1.Arranged_OUTCOME_MISSING {
				require.NotEmpty(t, x.GetReason(), x.GetDogCode())
				require.NotEmpty(t, x.GetRemedy(), x.GetDogCode())
			}
		}
		total += int(got.GetPlaced())
		again := s.arrange(t, site)
		require.Zero(t, again.GetPlaced()+again.GetMoved(), "%s: arranging twice changes nothing", site)
		require.Equal(t, got.GetPlaced(), again.GetKept(), site)
	}
	require.Equal(t, graduates, total, "the invented school has room for all")
	require.Equal(t, total, s.count(t, `select count(*) from handover.appointment where state = 'offered' and version = 1`))
	require.Equal(t, total, s.count(t, `select count(*) from handover.appointment a join planner.stay s on s.id = a.stay_id join facility.site x on x.id = a.site_id
		where (a.begins at time zone x.zone)::date = upper(s.nights) and (a.begins at time zone x.zone)::time >= '09:00' and (a.ends at time zone x.zone)::time <= '17:00'
		and a.ends - a.begins = interval '90 minutes'`))
	require.Zero(t, s.count(t, `select count(*) from handover.appointment a join handover.appointment b on a.id < b.id and a.site_id = b.site_id
		where a.gate = b.gate and (abs(extract(epoch from a.begins - b.begins)) < 600 or abs(extract(epoch from a.ends - b.ends)) < 600)
		or tstzrange(a.begins, a.ends) && tstzrange(b.begins, b.ends) and (a.trainer_id = b.trainer_id or a.area_id = b.area_id)`))
	require.Equal(t, total, s.count(t, `select count(*) from handover.appointment a join planner.stay s on s.id = a.stay_id join facility.site x on x.id = a.site_id
		join roster.shift h on h.trainer_id = a.trainer_id and h.weekday = extract(isodow from a.begins at time zone x.zone)
		where h.starts <= (a.begins at time zone x.zone)::time and h.ends >= (a.ends at time zone x.zone)::time`), "everybody is at work then")
	require.Positive(t, s.count(t, `select count(*) from handover.offer where state = 'open'`))
	require.Equal(t, total, s.count(t, `select count(*) from mail.letter where kind = 'handover-invitation' and version = 1`))
	own := s.count(t, `select count(*) from handover.appointment a join planner.stay s on s.id = a.stay_id where a.trainer_id = s.trainer_id`)
	require.Equal(t, total, own, "each with its own trainer")
}

// TestPreviewPlacesNothing, and neither does whoever may not.
func TestPreviewPlacesNothing(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	got, err := s.office.ArrangeHandovers(t.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: "TARN", Month: "2027-03", Preview: true})
	require.NoError(t, err)
	require.Positive(t, got.GetPlaced())
	_, err = s.viewer.ArrangeHandovers(t.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: "TARN", Month: "2027-03"})
	require.Equal(t, codes.PermissionDenied, status.Code(err))
	for _, bad := range []*graduationv1.ArrangeHandoversRequest{{SiteCode: "TARN", Month: "March"}, {SiteCode: "TARN"}, {Month: "2027-03"}} {
		_, err = s.office.ArrangeHandovers(t.Context(), bad)
		require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", bad)
	}
	_, err = s.office.ArrangeHandovers(t.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: "NOWHERE", Month: "2027-03"})
	require.Equal(t, codes.NotFound, status.Code(err))
	require.Zero(t, s.count(t, `select count(*) from handover.appointment`))
	require.Zero(t, s.count(t, `select count(*) from mail.letter`))
}

// TestNoRoom: a dog without a time has a reason and what would help, by name; what owners have confirmed stays.
func TestNoRoom(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	first := s.arrange(t, "FENN")
	day := first.GetArranged()[0].GetDay()
	confirmed := s.live(t, "FENN")[0]
	s.confirm(t, confirmed)
	s.exec(t, `insert into facility.places_exception (site_id, day, intake, handover, note) select id, $1, 0, 1, 'test' from facility.site where code = 'FENN'
		on conflict on constraint places_exception_pkey do update set handover = 1`, day)
	got := s.arrange(t, "FENN")
	missing := 0
	for _, x := range got.GetArranged() {
		if x.GetDay() != day {
			require.Equal(t, graduationv1.Arranged_OUTCOME_KEPT, x.GetOutcome(), x.GetDogCode())
			continue
		}
		if x.GetOutcome() == graduationv1.Arranged_OUTCOME_MISSING {
			missing++
			require.Contains(t, x.GetReason(), "the handover places of FENN on "+day+" are given away")
			require.Contains(t, x.GetRemedy(), "one more handover place on "+day)
		}
	}
	now, err := handover.Find(t.Context(), s.pool, confirmed.ID)
	require.NoError(t, err)
	require.Equal(t, handover.Confirmed, now.State)
	require.Equal(t, confirmed.Slot, now.Slot)
	require.Equal(t, missing, s.count(t, `select count(*) from graduation.unplaced`))
}

// confirm is the owner's answer.
func (s *school) confirm(t testing.TB, a handover.Appointment) {
	t.Helper()
	s.inTx(t, func(tx postgres.Tx) error {
		_, err := s.book.Confirm(t.Context(), tx, a.ID, handover.Word{By: handover.ByOwner})
		return err
	})
}

// TestOwnersTimes: a time is found within what an owner can make, the liked hours first, and a dog whose owner cannot come on the day waits.
func TestOwnersTimes(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	got, err := s.office.ArrangeHandovers(t.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: "QUILL", Month: "2027-03", Preview: true})
	require.NoError(t, err)
	a, b := got.GetArranged()[0], got.GetArranged()[1]
	weekday := func(x *graduationv1.Arranged) int { return calendar.MustDate(x.GetDay()).ISOWeekday() }
	insert := `insert into graduation.owner_time (request_id, weekday, starts, ends, liked) select id, $2, $3, $4, $5 from enrollment.request where code = $1`
	s.exec(t, insert, a.GetRequestCode(), 0, "09:00", "12:00", false)
	s.exec(t, insert, a.GetRequestCode(), weekday(a), "14:00", "15:30", true)
	s.exec(t, insert, b.GetRequestCode(), 1+weekday(b)%7, "09:00", "17:00", true)
	after := s.arrange(t, "QUILL")
	for _, x := range after.GetArranged() {
		switch x.GetRequestCode() {
		case a.GetRequestCode():
			require.Equal(t, "14:00", x.GetStarts())
		case b.GetRequestCode():
			require.Equal(t, graduationv1.Arranged_OUTCOME_MISSING, x.GetOutcome())
			require.Contains(t, x.GetReason(), "the owner's times")
		}
	}
}

// TestAChosenTimeMustFit: an owner's choice is looked at again under the lock: a trainer who is away by then, or a day whose places are gone,
// refuses it.
func TestAChosenTimeMustFit(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.arrange(t, "DRUM")
	a := s.live(t, "DRUM")[0]
	offers, err := handover.ListOffers(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	require.NotEmpty(t, offers)
	choose := func() error {
		return s.tryTx(t, func(tx postgres.Tx) error {
			_, err := s.book.Choose(t.Context(), tx, a.ID, offers[0].ID, handover.Word{By: handover.ByOwner})
			return err
		})
	}
	day := calendar.DateIn(a.Begins, zoneOf(t, "America/Chicago"))
	s.exec(t, `insert into roster.absence (id, trainer_id, days, kind) values (gen_random_uuid(), $1, daterange($2::date, $2::date + 1), 'sickness')`, offers[0].TrainerID, day.String())
	require.ErrorContains(t, choose(), "not free any more")
	s.exec(t, `delete from roster.absence where days = daterange($1::date, $1::date + 1) and trainer_id = $2`, day.String(), offers[0].TrainerID)
	require.NoError(t, choose())
	now, err := handover.Find(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	require.Equal(t, handover.Confirmed, now.State)
	require.Equal(t, 2, now.Version)
	require.Equal(t, 1, s.count(t, `select count(*) from mail.letter where key = $1 and kind = 'handover-changed' and version = 2`, a.ID.String()))
	require.Equal(t, "superseded", s.text(t, `select state from mail.letter where key = $1 and kind = 'handover-invitation'`, a.ID.String()))
	require.WithinDuration(t, offers[0].Begins, now.Begins, time.Second, fmt.Sprint(offers))
}

// TestAnIsolatedDogIsNotShown: it gets no time on a day on which it is isolated, and where it has one, people are told.
func TestAnIsolatedDogIsNotShown(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	look, err := s.office.ArrangeHandovers(t.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: "FENN", Month: "2027-03", Preview: true})
	require.NoError(t, err)
	ill := look.GetArranged()[0]
	isolate := func(request string) {
		s.exec(t, `insert into planner.isolation (id, request_id, stay_id, site_id, run_id, days, planned_days, suspected, reason, made_at, made_by)
			select gen_random_uuid(), s.request_id, s.id, s.site_id, (select r.id from facility.run r where r.site_id = s.site_id and r.isolation and not exists (select from planner.isolation i where i.run_id = r.id) limit 1),
			  daterange(upper(s.nights) - 1, upper(s.nights) + 5), daterange(upper(s.nights) - 1, upper(s.nights) + 5), '', 'coughs', now(), 'test'
			from planner.stay s join enrollment.request q on q.id = s.request_id where q.code = $1 and s.state in ('confirmed', 'in residence')`, request)
	}
	isolate(ill.GetRequestCode())
	first := s.arrange(t, "FENN")
	require.EqualValues(t, 1, first.GetMissing())
	var has *graduationv1.Arranged
	for _, x := range first.GetArranged() {
		if x.GetRequestCode() == ill.GetRequestCode() {
			require.Equal(t, graduationv1.Arranged_OUTCOME_MISSING, x.GetOutcome())
			require.Contains(t, x.GetReason(), "isolated")
			require.Contains(t, x.GetRemedy(), "veterinarian")
		} else {
			has = x
		}
	}
	isolate(has.GetRequestCode())
	for _, x := range s.arrange(t, "FENN").GetArranged() {
		if x.GetRequestCode() == has.GetRequestCode() {
			require.Equal(t, graduationv1.Arranged_OUTCOME_KEPT, x.GetOutcome())
			require.Equal(t, has.GetStarts(), x.GetStarts())
			require.Contains(t, x.GetReason(), "isolated")
		}
	}
}
