package planner_test

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// promisedSchool has the month drafted and published, so that runs are full.
func promisedSchool(t *testing.T) *school {
	t.Helper()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick())
	_, err := s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	return s
}

// text runs a query for one text.
func (s *school) text(t *testing.T, sql string, args ...any) string {
	t.Helper()
	var out string
	require.NoError(t, s.pool.QueryRow(t.Context(), sql, args...).Scan(&out))
	return out
}

// digest is of everything that mending could change.
func (s *school) digest(t *testing.T) string {
	t.Helper()
	return s.text(t, `select md5(
		(select coalesce(string_agg(x::text, '|' order by id), '') from planner.stay x) ||
		(select coalesce(string_agg(x::text, '|' order by id), '') from planner.stay_change x) ||
		(select coalesce(string_agg(x::text, '|' order by id), '') from planner.isolation x) ||
		(select coalesce(string_agg(x::text, '|' order by isolation_id, request_id), '') from planner.contact_watch x) ||
		(select coalesce(string_agg(x::text, '|' order by isolation_id), '') from planner.intake_hold x))`)
}

// live are the states in which a stay holds its run.
const live = `('published', 'confirmed', 'in residence', 'gone home')`

// recounts are what must never be, each as a query for texts; they share no code with the planner.
var recounts = map[string]string{
	"two stays in a run on a night": `select a.id || ' ' || b.id from planner.stay a join planner.stay b on a.run_id = b.run_id and a.id < b.id and a.nights && b.nights
		where a.state in ` + live + ` and b.state in ` + live,
	"two stays in a run with too few nights between to clean it": `select a.request_id || ' ' || b.request_id from planner.stay a
		join facility.site s on s.id = a.site_id join planner.stay b on a.run_id = b.run_id and a.id <> b.id
		where a.state in ` + live + ` and b.state in ` + live + ` and upper(a.nights) <= lower(b.nights) and lower(b.nights) - upper(a.nights) < s.clean_down_days`,
	"a request with two stays":   `select request_id::text from planner.stay where state in ` + live + ` group by 1 having count(*) > 1`,
	"a stay in a closed run":     `select a.request_id || ' ' || c.id from planner.stay a join facility.closure c on c.run_id = a.run_id and c.days && a.nights where a.state in ` + live,
	"a stay in an isolation run": `select a.request_id::text from planner.stay a join facility.run r on r.id = a.run_id where r.isolation and a.state in ` + live,
	"a run at another site":      `select a.request_id::text from planner.stay a join facility.run r on r.id = a.run_id where r.site_id <> a.site_id`,
	"a dog in a run that is too small": `select d.code || ' ' || r.code from planner.stay a join facility.run r on r.id = a.run_id
		join facility.site s on s.id = a.site_id join enrollment.request q on q.id = a.request_id join enrollment.dog d on d.id = q.dog_id
		where a.state in ` + live + ` and r.length_mm::numeric * r.width_mm * 100 < (d.length_mm + 152.4) ^ 2 * s.floor_percent`,
	"a vaccine that lapses before the graduation day": `select d.code || ' ' || v from planner.stay a join facility.site s on s.id = a.site_id
		join enrollment.request q on q.id = a.request_id join enrollment.dog d on d.id = q.dog_id, unnest(s.required_vaccines) v
		where a.state in ` + live + ` and not exists (select from enrollment.vaccination x where x.dog_id = d.id and x.vaccine = v
		  and x.given + make_interval(months => case when x.course = 'primary' then least(12, x.label_months) else x.label_months end) >= upper(a.nights))`,
	"two isolations in a run": `select a.id || ' ' || b.id from planner.isolation a join planner.isolation b on a.run_id = b.run_id and a.id < b.id and a.days && b.days`,
	"a handover day over its number": `select s.code || ' ' || upper(a.nights) from planner.stay a join facility.site s on s.id = a.site_id
		left join facility.places p on p.site_id = s.id and p.weekday = extract(isodow from upper(a.nights))
		left join facility.places_exception e on e.site_id = s.id and e.day = upper(a.nights)
		where a.state in ` + live + ` group by s.code, upper(a.nights), p.handover, e.handover having count(*) > coalesce(e.handover, p.handover, 0)`,
}

// recount runs every query.
func (s *school) recount(t *testing.T) map[string][]string {
	t.Helper()
	found := map[string][]string{}
	for name, sql := range recounts {
		rows, err := s.pool.Query(t.Context(), sql+` order by 1`)
		require.NoError(t, err, name)
		for rows.Next() {
			var text string
			require.NoError(t, rows.Scan(&text))
			found[name] = append(found[name], text)
		}
		require.NoError(t, rows.Err())
	}
	return found
}

// dogs are the dogs with a promised stay that has not ended, in a fixed order.
func (s *school) dogs(t *testing.T, where string) (codes []string) {
	t.Helper()
	rows, err := s.pool.Query(t.Context(), `select d.code from planner.stay a join enrollment.request q on q.id = a.request_id join enrollment.dog d on d.id = q.dog_id
		join facility.site s on s.id = a.site_id where a.state in ('published', 'confirmed', 'in residence') and `+where+` order by d.code`)
	require.NoError(t, err)
	for rows.Next() {
		var code string
		require.NoError(t, rows.Scan(&code))
		codes = append(codes, code)
	}
	require.NoError(t, rows.Err())
	return codes
}

func (s *school) previewExtension(t *testing.T, dog string) *plannerv1.PreviewExtensionResponse {
	t.Helper()
	got, err := s.mend.PreviewExtension(t.Context(), &plannerv1.PreviewExtensionRequest{DogCode: dog})
	require.NoError(t, err, dog)
	return got
}

func (s *school) extend(t *testing.T, dog string, e *plannerv1.Extension) (*plannerv1.ExtendStayResponse, error) {
	t.Helper()
	return s.mend.ExtendStay(t.Context(), &plannerv1.ExtendStayRequest{DogCode: dog, Graduation: e.GetGraduation(), Fingerprint: e.GetFingerprint(), Reason: "not ready"})
}

// TestExtensionsHold extends stays at random in a full month, and recounts the school after each with queries of its own: nothing is
// broken that was not broken before, and a handover day is over its number only where the preview said so and a person took it.
func TestExtensionsHold(t *testing.T) {
	t.Parallel()
	s := promisedSchool(t)
	before := s.recount(t)
	accepted := map[string]bool{}
	for _, day := range before["a handover day over its number"] {
		accepted[day] = true
	}
	r := rand.New(rand.NewPCG(7, 15))
	dogs := s.dogs(t, "true")
	require.Greater(t, len(dogs), 200)
	var (
		done, moved, over, refused int
		slowest                    time.Duration
	)
	for range 60 {
		dog := dogs[r.IntN(len(dogs))]
		untouched := s.digest(t)
		began := time.Now()
		preview := s.previewExtension(t, dog)
		slowest = max(slowest, time.Since(began))
		require.Equal(t, untouched, s.digest(t), "a preview changes nothing")
		requireOrdered(t, preview)
		refused += len(preview.GetRefused())
		if len(preview.GetChoices()) == 0 {
			continue
		}
		e := preview.GetChoices()[r.IntN(len(preview.GetChoices()))]
		if e.GetHandovers() > e.GetHandoverPlaces() {
			accepted[preview.GetStay().GetSiteCode()+" "+e.GetGraduation()] = true
			over++
		}
		got, err := s.extend(t, dog, e)
		require.NoError(t, err, dog)
		require.Equal(t, e.GetGraduation(), got.GetStay().GetGraduation())
		own := preview.GetStay().GetRunCode()
		for _, m := range e.GetRunMoves() {
			if m.GetDogCode() == dog {
				require.NotEqual(t, "in residence", preview.GetStay().GetState(), "a dog that is there keeps its run")
				own = m.GetToRun()
			}
		}
		require.Equal(t, own, got.GetStay().GetRunCode())
		done++
		moved += len(e.GetRunMoves())
		after := s.recount(t)
		for name, found := range after {
			for _, text := range found {
				if name == "a handover day over its number" {
					require.True(t, accepted[text], "%s: nobody took it", text)
				} else {
					require.Contains(t, before[name], text, "%s after extending %s to %s", name, dog, e.GetGraduation())
				}
			}
		}
	}
	t.Logf("%d extended, %d stays moved, %d handovers over the number, %d spans of days refused, slowest preview %s", done, moved, over, refused, slowest)
	require.Greater(t, done, 20)
	require.Positive(t, moved)
	require.Positive(t, refused)

	extended := s.extended(t)
	plan := s.draft(t, quick())
	_, err := s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	require.Equal(t, extended, s.extended(t), "a later plan shortens none of them")
}

// extended lists the stays that last longer than their program, with their runs.
func (s *school) extended(t *testing.T) string {
	t.Helper()
	return s.text(t, `select string_agg(a.request_id || ' ' || a.run_id || ' ' || a.nights, ', ' order by a.request_id) from planner.stay a
		join enrollment.request q on q.id = a.request_id join enrollment.program p on p.id = q.program_id
		where a.state in `+live+` and upper(a.nights) - lower(a.nights) > p.nights`)
}

// requireOrdered: fewest promises whose owners notice first, then fewest changed, then handovers within the number, then the earlier day.
func requireOrdered(t *testing.T, p *plannerv1.PreviewExtensionResponse) {
	t.Helper()
	key := func(e *plannerv1.Extension) string {
		noticed := 0
		for _, m := range e.GetRunMoves() {
			if m.GetOwnerSees() != "" {
				noticed++
			}
		}
		return fmt.Sprintf("%02d %02d %02d %s", noticed, len(e.GetRunMoves()), max(0, e.GetHandovers()-e.GetHandoverPlaces()), e.GetGraduation())
	}
	for i, e := range p.GetChoices() {
		require.True(t, i == 0 || key(p.GetChoices()[i-1]) <= key(e))
		require.Greater(t, e.GetGraduation(), p.GetStay().GetGraduation())
		require.NotEmpty(t, e.GetFingerprint())
		require.Positive(t, e.GetHandoverPlaces(), "a day without places is not offered")
	}
	for _, r := range p.GetRefused() {
		require.NotEmpty(t, r.GetReason())
		require.NotEmpty(t, r.GetRemedy())
	}
}

// TestStaleExtension: what was previewed is done only while everything that it rests on is as it was.
func TestStaleExtension(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for what, sql := range map[string]string{
		"places":   `insert into facility.places_exception (site_id, day, intake, handover, note) select id, '2027-03-14', 0, 9, 'more' from facility.site where code = 'FENN'`,
		"a run":    `update facility.run set length_mm = length_mm + 1 where code = 'B2' and site_id = (select id from facility.site where code = 'FENN')`,
		"a dog":    `update enrollment.dog set weight_g = weight_g + 100 where id = (select dog_id from enrollment.request where code = 'F-021')`,
		"a shift":  `delete from roster.shift where trainer_id = (select id from roster.trainer where code = 'MILO') and weekday = 1`,
		"a stay":   `update planner.stay set state = 'cancelled' where request_id = (select id from enrollment.request where code = 'F-018')`,
		"the site": `update facility.site set clean_down_days = 2 where code = 'FENN'`,
	} {
		preview := s.previewExtension(t, "F-021")
		require.NotEmpty(t, preview.GetChoices(), what)
		e := preview.GetChoices()[0]
		_, err := s.pool.Exec(t.Context(), sql)
		require.NoError(t, err, what)
		before := s.digest(t)
		_, err = s.extend(t, "F-021", e)
		require.Equal(t, codes.FailedPrecondition, status.Code(err), "%s: %v", what, err)
		require.Equal(t, before, s.digest(t), what)
	}
	e := s.previewExtension(t, "F-021").GetChoices()[0]
	before := s.digest(t)
	_, err := s.mend.ExtendStay(t.Context(), &plannerv1.ExtendStayRequest{DogCode: "F-021", Graduation: e.GetGraduation(), Fingerprint: "guessed", Reason: "x"})
	require.Equal(t, codes.FailedPrecondition, status.Code(err))
	require.Equal(t, before, s.digest(t))
	_, err = s.extend(t, "F-021", e)
	require.NoError(t, err)
	_, err = s.extend(t, "F-021", e)
	require.Equal(t, codes.FailedPrecondition, status.Code(err), "done once")

	history, err := s.mend.ReadStayHistory(t.Context(), &plannerv1.ReadStayHistoryRequest{DogCode: "F-021"})
	require.NoError(t, err)
	last := history.GetChanges()[len(history.GetChanges())-1]
	require.Equal(t, "manager", last.GetChangedBy())
	require.Contains(t, last.GetReason(), "not ready")
	require.Equal(t, "2027-03-13", last.GetBefore().GetGraduation())
	require.Equal(t, e.GetGraduation(), last.GetAfter().GetGraduation())
}

// TestTwoExtensionsAtOnce: of two that rest on the same picture one wins, and the other changes nothing.
func TestTwoExtensionsAtOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for _, pair := range [][2]string{{"F-021", "F-056"}, {"F-009", "F-038"}, {"F-025", "F-025"}} {
		previews := []*plannerv1.Extension{s.previewExtension(t, pair[0]).GetChoices()[0], s.previewExtension(t, pair[1]).GetChoices()[0]}
		errs := make([]error, 2)
		var both sync.WaitGroup
		for i, dog := range pair {
			both.Go(func() { _, errs[i] = s.extend(t, dog, previews[i]) })
		}
		both.Wait()
		won := 0
		for _, err := range errs {
			if err == nil {
				won++
				continue
			}
			require.Equal(t, codes.FailedPrecondition, status.Code(err))
		}
		require.Equal(t, 1, won, "%v: %v", pair, errs)
	}
	require.Equal(t, "3", s.text(t, `select count(*)::text from planner.stay where state = 'replaced'`))
}

// TestExtensionRefusals looks at dogs of the scenario for whom there is a reason against a day.
func TestExtensionRefusals(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	_, err := s.pool.Exec(t.Context(), `with dog as (select dog_id from enrollment.request where code = 'F-021'),
		  gone as (delete from enrollment.vaccination where vaccine = 'rabies' and dog_id = (select dog_id from dog))
		insert into enrollment.vaccination (id, dog_id, vaccine, given, course, label_months)
		select gen_random_uuid(), dog_id, 'rabies', '2026-03-16', 'booster', 12 from dog`)
	require.NoError(t, err)
	var reasons []string
	preview := s.previewExtension(t, "F-021")
	for _, r := range preview.GetRefused() {
		reasons = append(reasons, fmt.Sprintf("%s %s: %s", r.GetFirstDay(), r.GetLastDay(), r.GetReason()))
	}
	require.Contains(t, fmt.Sprint(reasons), "rabies lapses after 2027-03-16")
	for _, e := range preview.GetChoices() {
		require.LessOrEqual(t, e.GetGraduation(), "2027-03-16")
	}
	one, err := s.mend.PreviewExtension(t.Context(), &plannerv1.PreviewExtensionRequest{DogCode: "F-025", Graduation: "2027-03-26"})
	require.NoError(t, err)
	require.Empty(t, one.GetChoices())
	require.Contains(t, one.GetRefused()[0].GetReason(), "Good Friday")
	for _, day := range []string{"2027-03-18", "2027-03-01", "2027-09-01"} {
		_, err = s.mend.PreviewExtension(t.Context(), &plannerv1.PreviewExtensionRequest{DogCode: "F-025", Graduation: day})
		require.Equal(t, codes.FailedPrecondition, status.Code(err), day)
	}
	_, err = s.mend.PreviewExtension(t.Context(), &plannerv1.PreviewExtensionRequest{DogCode: "M-001"})
	require.Equal(t, codes.NotFound, status.Code(err), "nothing is promised to it")
}
