package graduation_test

import (
	"fmt"
	"strings"
	"sync"
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

// TestLooksSeeToEverything: looks by several machines at once arrange what there is and put what is due, each thing once.
func TestLooksSeeToEverything(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.exec(t, `update enrollment.owner set zone = 'Asia/Tokyo' where code = 'O-001'`)
	var all sync.WaitGroup
	errs := make([]error, 3)
	for i := range errs {
		all.Go(func() { errs[i] = s.looks.Look(t.Context()) })
	}
	all.Wait()
	for _, err := range errs {
		require.NoError(t, err)
	}
	graduates := s.count(t, `select count(*) from planner.stay where upper(nights) >= '2027-02-22' and state in ('confirmed', 'in residence')`)
	arrivals := s.count(t, `select count(*) from planner.stay where lower(nights) > '2027-02-22' and state = 'confirmed'`)
	require.Positive(t, arrivals)
	require.Equal(t, graduates, s.count(t, `select count(*) from handover.appointment`))
	for kind, want := range map[string]int{"handover-invitation": graduates, "enrolment-confirmed": arrivals,
		"arrival-reminder": s.count(t, `select count(*) from planner.stay where lower(nights) between '2027-02-23' and '2027-03-01' and state = 'confirmed'`)} {
		require.Equal(t, want, s.count(t, `select count(*) from mail.letter where kind = $1`, kind), kind)
	}
	far := `from mail.letter l join enrollment.owner o on o.name = l.to_name where o.code = 'O-001'`
	require.Positive(t, s.count(t, `select count(*) `+far))
	require.Equal(t, "Asia/Tokyo", s.text(t, `select distinct l.zone `+far), "quiet hours are those of the owner's clock")
	require.Equal(t, "America/Chicago, America/Denver", s.text(t, `select string_agg(distinct l.zone, ', ' order by l.zone) from mail.letter l
		where not exists (select 1 from enrollment.owner o where o.name = l.to_name and o.code = 'O-001')`), "or else of the site's")
	letters := s.count(t, `select count(*) from mail.letter`)
	s.now = s.now.Add(time.Minute)
	require.NoError(t, s.looks.Look(t.Context()))
	require.Equal(t, letters, s.count(t, `select count(*) from mail.letter`), "the next look has nothing to do")
	require.Equal(t, letters, s.count(t, `select count(*) from river_job where kind = 'send_letter'`), "and every letter has one job")
}

// TestAMissedTickLosesNothing: with a look every day, and with most of them missed, the same owners have the same letters in the end; looks that
// come twice change nothing.
func TestAMissedTickLosesNothing(t *testing.T) {
	t.Parallel()
	got := map[string]string{}
	for name, every := range map[string]time.Duration{"each twelve hours": 12 * time.Hour, "each day": 23 * time.Hour} {
		s := newSchool(t)
		for end := s.now.AddDate(0, 0, 12); s.now.Before(end); s.now = s.now.Add(every) {
			require.NoError(t, s.looks.Look(t.Context()))
		}
		got[name] = s.text(t, `select string_agg(l.kind || ' ' || l.version || ' ' || d.code, ', ' order by l.kind, d.code)
			from mail.letter l join handover.appointment a on l.key = a.id::text join enrollment.dog d on d.id = a.dog_id
			where l.kind in ('handover-week', 'handover-day') and a.begins < '2027-03-05'`)
		require.Positive(t, s.count(t, `select count(*) from mail.letter where kind = 'handover-week'`))
		require.Equal(t, s.count(t, `select count(*) from handover.link`), s.count(t, `select count(*) from mail.letter where body_text like '%' || $1 || '/handover/%'`, publicURL),
			"each letter about an appointment has a link of its own, and no link is made for nothing")
		require.Zero(t, s.count(t, `select count(*) from mail.letter where kind in ('handover-week', 'handover-day') and body_text not like '%' || $1 || '/handover/%'`, publicURL))
		require.Equal(t, s.count(t, `select count(*) from handover.appointment where begins between '2027-02-25' and '2027-03-05'`),
			s.count(t, `select count(*) from mail.letter l join handover.appointment a on l.key = a.id::text where l.kind = 'handover-day' and a.begins between '2027-02-25' and '2027-03-05'`), name)
	}
	require.Equal(t, got["each twelve hours"], got["each day"])
}

// TestAppointmentsFollowTheirStays: a stay that ends later takes its appointment along, under one UID with a higher version; one that is
// cancelled loses it; both owners are told.
func TestAppointmentsFollowTheirStays(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	require.NoError(t, s.looks.Look(t.Context()))
	all := s.live(t, "QUILL")
	longer, ended := all[len(all)-1], all[len(all)-2]
	zone := zoneOf(t, "America/Denver")
	day := calendar.DateIn(longer.Begins, zone)
	to := day.AddDays(1)
	for s.count(t, `select count(*) from facility.places p join facility.site x on x.id = p.site_id where x.code = 'QUILL' and p.weekday = $1 and p.handover > 0`, to.ISOWeekday()) == 0 ||
		s.count(t, `select count(*) from roster.shift where trainer_id = $1 and weekday = $2`, longer.TrainerID, to.ISOWeekday()) == 0 {
		to = to.AddDays(1)
	}
	s.exec(t, `with old as (update planner.stay set state = 'replaced' where id = $1 returning *)
		insert into planner.stay (id, request_id, plan_id, site_id, run_id, trainer_id, nights, state, made_at)
		select gen_random_uuid(), request_id, plan_id, site_id, run_id, trainer_id, daterange(lower(nights), $2), 'confirmed', now() from old`, longer.StayID, to.String())
	s.exec(t, `update planner.stay set state = 'cancelled' where id = $1`, ended.StayID)
	s.now = s.now.Add(time.Minute)
	require.NoError(t, s.looks.Look(t.Context()))

	now, err := handover.Find(t.Context(), s.pool, longer.ID)
	require.NoError(t, err)
	require.Equal(t, to, calendar.DateIn(now.Begins, zone))
	require.Equal(t, 2, now.Version)
	require.Equal(t, handover.Offered, now.State)
	require.NotEqual(t, longer.StayID, now.StayID)
	letter := s.text(t, `select body_text || coalesce(calendar, '') from mail.letter where key = $1 and kind = 'handover-changed'`, longer.ID.String())
	require.Contains(t, letter, "UID:"+longer.UID())
	require.Contains(t, letter, "SEQUENCE:2")
	gone, err := handover.Find(t.Context(), s.pool, ended.ID)
	require.NoError(t, err)
	require.Equal(t, handover.Cancelled, gone.State)
	require.Contains(t, s.text(t, `select calendar from mail.letter where key = $1 and kind = 'handover-cancelled'`, ended.ID.String()), "METHOD:CANCEL")
	before := s.count(t, `select count(*) from handover.change`)
	require.NoError(t, s.looks.Look(t.Context()))
	require.Equal(t, before, s.count(t, `select count(*) from handover.change`), "the next look changes nothing")
}

// TestChangesTellOwnersAndDays: an appointment that is moved has a letter and jobs for both days in its transaction; undone with it when that
// fails.
func TestChangesTellOwnersAndDays(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	require.NoError(t, s.looks.Look(t.Context()))
	a := s.live(t, "TARN")[0]
	s.exec(t, `update mail.letter set state = 'sent', done_at = put_at, content = 'x' where key = $1`, a.ID.String()) // the owner knows of it
	to := a.Slot
	for busy := true; busy; busy = s.count(t, `select count(*) from handover.appointment where site_id = $1 and begins between $2::timestamptz - interval '4 hours' and $2::timestamptz + interval '4 hours'`,
		a.SiteID, to.Begins) > 0 {
		to.Begins, to.Ends = to.Begins.Add(24*time.Hour), to.Ends.Add(24*time.Hour)
	}
	jobs := func() int {
		return s.count(t, `select count(*) from river_job where kind = 'fit_day_to_appointments' and args ->> 'site_id' = $1`, a.SiteID.String())
	}
	letters := func() int { return s.count(t, `select count(*) from mail.letter where key = $1`, a.ID.String()) }
	before, told := jobs(), letters()
	boom := fmt.Errorf("boom")
	require.ErrorIs(t, s.tryTx(t, func(tx postgres.Tx) error {
		if _, err := s.book.Move(t.Context(), tx, a.ID, to, nil, false, handover.Word{By: "office"}); err != nil {
			return err
		}
		return boom
	}), boom)
	require.Equal(t, []int{before, told}, []int{jobs(), letters()})
	s.inTx(t, func(tx postgres.Tx) error {
		_, err := s.book.Move(t.Context(), tx, a.ID, to, nil, true, handover.Word{By: "office", Why: "words for the office alone"})
		return err
	})
	require.Equal(t, []int{before + 2, told + 1}, []int{jobs(), letters()})
	text := s.text(t, `select body_text from mail.letter where key = $1 and version = 2`, a.ID.String())
	require.Contains(t, strings.Join(strings.Fields(text), " "), "a few more days of training")
	require.NotContains(t, text, "office alone", "what the office notes is not the owner's")
	s.now = to.Ends
	s.inTx(t, func(tx postgres.Tx) error {
		_, err := s.book.Held(t.Context(), tx, a.ID, handover.Word{By: "office"})
		return err
	})
	plan := s.text(t, `select body_text from mail.letter where key = $1 and kind = 'practice-plan'`, a.ID.String())
	for _, words := range []string{"15 to 20 minutes", "Indoors and outdoors", "Quiet places first", "Praise is the reward", "Every day"} {
		require.Contains(t, plan, words)
	}
}

// TestReminders: who may set them, what is set, and what cannot be.
func TestReminders(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	req := &graduationv1.SetReminderRequest{SiteCode: "DRUM", Letter: "day-before", Line: " 30  8 * * MON-SAT "}
	_, err := s.viewer.SetReminder(t.Context(), req)
	require.Equal(t, codes.PermissionDenied, status.Code(err))
	got, err := s.office.SetReminder(t.Context(), req)
	require.NoError(t, err)
	require.Equal(t, "30 8 * * MON-SAT", got.GetReminder().GetLine())
	require.Equal(t, "2027-02-23 08:30", got.GetReminder().GetNext(), "it is nine by the clocks of DRUM")
	require.EqualValues(t, 1, got.GetReminder().GetDays())
	for _, bad := range []*graduationv1.SetReminderRequest{
		{SiteCode: "DRUM", Letter: "day-before", Line: "61 8 * * *"}, {SiteCode: "DRUM", Letter: "day-before"}, {SiteCode: "DRUM", Letter: "day-before", Line: "0 8 * * *", Off: true},
		{SiteCode: "DRUM", Letter: "handover-day", Line: "0 8 * * *"}, {SiteCode: "DRUM", Letter: "day-before", Line: strings.Repeat("0 ", 150)},
	} {
		_, err = s.office.SetReminder(t.Context(), bad)
		require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", bad)
	}
	_, err = s.office.SetReminder(t.Context(), &graduationv1.SetReminderRequest{SiteCode: "DRUM", Letter: "enrolment", Off: true})
	require.NoError(t, err)
	list, err := s.viewer.ListReminders(t.Context(), &graduationv1.ListRemindersRequest{SiteCode: "DRUM"})
	require.NoError(t, err)
	require.Len(t, list.GetReminders(), 4)
	for _, r := range list.GetReminders() {
		switch r.GetLetter() {
		case "enrolment":
			require.True(t, r.GetLine() == "" && r.GetNextAt() == nil && !r.GetUsual(), "%v", r)
		case "day-before":
			require.Equal(t, []any{"30 8 * * MON-SAT", false, "manager"}, []any{r.GetLine(), r.GetUsual(), r.GetChangedBy()})
		default:
			require.True(t, r.GetUsual())
		}
	}
	all, err := s.viewer.ListReminders(t.Context(), &graduationv1.ListRemindersRequest{})
	require.NoError(t, err)
	require.Len(t, all.GetReminders(), 16)
	require.NoError(t, s.looks.Look(t.Context()))
	require.Zero(t, s.count(t, `select count(*) from mail.letter l where kind = 'enrolment-confirmed' and key like '% ' || (select id from facility.site where code = 'DRUM') || ' %'`))
	require.Positive(t, s.count(t, `select count(*) from mail.letter l where kind = 'enrolment-confirmed'`))
}
