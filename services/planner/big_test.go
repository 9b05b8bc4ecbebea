package planner_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// A plan as large as a group of schools could have, made up by the database: 60 sites of 25 runs and 6 trainers, 2,000 requests of which
// 1,500 are placed, and the use of every resource on 58 days. There are two of it, which differ in 500 requests.
const (
	bigPlan      = "01900000-0000-7000-8000-000000000001"
	bigPlanOther = "01900000-0000-7000-8000-000000000002"
)

const bigSchool = `
	create function pg_temp.id(kind int, n bigint) returns uuid language sql as $$ select ('0190000' || kind || '-0000-7000-8000-' || lpad(to_hex(n), 12, '0'))::uuid $$;
	insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days)
	  select pg_temp.id(1, s), 'S' || lpad(s::text, 2, '0'), 'Site', 'UTC', 28, '{rabies}', 100, 0 from generate_series(0, 59) s;
	insert into facility.run (id, site_id, code, row_name, length_mm, width_mm, height_mm, isolation)
	  select pg_temp.id(2, n), pg_temp.id(1, n / 25), (n % 25)::text, 'A', 1500 + 400 * (n % 4)::int, 1500, 1800, false from generate_series(0, 1499) n;
	insert into roster.trainer (id, code, name, email, home_site_id, minutes_a_day, most_dogs, care_classes)
	  select pg_temp.id(3, n), 'T' || lpad(n::text, 3, '0'), 'Trainer', '', pg_temp.id(1, n / 6), 420, 6, '{open}' from generate_series(0, 359) n;
	insert into enrollment.owner (id, code, name, email, phone, zone) select pg_temp.id(4, n), 'O' || n, 'Owner ' || n, '', '', '' from generate_series(0, 1999) n;
	insert into enrollment.program (id, code, name, nights, sessions_a_day, session_minutes, least_age_months) values (pg_temp.id(5, 0), 'P', 'Program', 14, 3, 20, 6);
	insert into enrollment.dog (id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level, note)
	  select pg_temp.id(6, n), 'D' || n, pg_temp.id(4, n), 'Dog ' || n, '', 0, false, 'male', '2025-01-01', 20000, 700, 600, '', '' from generate_series(0, 1999) n;
	insert into enrollment.request (id, code, dog_id, program_id, window_days, priority, deposit, asked_on, household, state, note)
	  select pg_temp.id(7, n), 'R' || lpad(n::text, 4, '0'), pg_temp.id(6, n), pg_temp.id(5, 0), '[2027-03-01,2027-04-01)', 3, false, '2027-01-01', '', 'open', '' from generate_series(0, 1999) n;
	insert into enrollment.request_site (request_id, site_id, travel_minutes)
	  select distinct pg_temp.id(7, n), pg_temp.id(1, (n + k) % 60), 30 from generate_series(0, 1999) n, generate_series(0, 2) k;
	insert into planner.plan (id, month, number, state, made_at, made_by, seconds_limit, iterations_limit, seed, requests, placed, bound, policy)
	  select ('01900000-0000-7000-8000-00000000000' || n)::uuid, '2027-03-01', n, 'draft', now(), 'x', 1, 0, 1, 2000, 1500, 0, '{}' from generate_series(1, 2) n;
	insert into planner.placement (plan_id, request_id, request_code, site_id, run_id, trainer_id, nights, value, points, minutes, cover_minutes, standing)
	  select p.id, pg_temp.id(7, n), 'R' || lpad(n::text, 4, '0'), pg_temp.id(1, n % 60), pg_temp.id(2, (n % 60) * 25 + n / 60), pg_temp.id(3, (n % 60) * 6 + n % 6),
	    daterange(d, d + 14), 150, '[{"term": "placed", "points": 150, "text": "placed"}]', 60, 20, 'new'
	  from planner.plan p, generate_series(0, 1499) n, lateral (select '2027-03-01'::date + (n % 14)::int + case when p.number = 2 and n % 3 = 0 then 1 else 0 end as d) x;
	insert into planner.wait (plan_id, request_id, request_code, hard, reason, remedy, refusals)
	  select p.id, pg_temp.id(7, n), 'R' || lpad(n::text, 4, '0'), n % 10 = 0, repeat('others fill the month: nearest was a site from a day, but its runs are taken ', 2),
	    repeat('a longer window, another site, or one more run of class M ', 2), '{"open_choices": 1, "list": []}'
	  from planner.plan p, generate_series(1500, 1999) n;
	insert into planner.use (plan_id, site_id, resource, unit, day, used, capacity, price)
	  select p.id, pg_temp.id(1, s), r.resource, case r.resource when 'runs' then (array['S','M','L','XL'])[u + 1] when 'trainer minutes' then 'T' || lpad((s * 6 + u)::text, 3, '0')
	    when 'trainer dogs' then 'T' || lpad((s * 6 + u)::text, 3, '0') else '' end, d::date, 5 + (s + u + extract(day from d)::int) % 3, 7, ((s * 7 + u * 3) % 11)::float / 3
	  from planner.plan p, generate_series(0, 59) s, (values ('runs', 4), ('trainer minutes', 6), ('trainer dogs', 6), ('intake places', 1), ('handover places', 1), ('site minutes', 1)) r (resource, units),
	    lateral generate_series(0, r.units - 1) u, generate_series('2027-03-01'::date, '2027-04-27', '1 day') d;
	analyze;`

func newBigSchool(tb testing.TB) *postgres.Pool {
	tb.Helper()
	pool := postgrestest.Database(tb)
	_, err := pool.Exec(tb.Context(), bigSchool)
	require.NoError(tb, err)
	march, err := calendar.ParseMonth("2027-03")
	require.NoError(tb, err)
	for _, id := range []string{bigPlan, bigPlanOther} {
		plan, err := ids.Parse[ids.PlanID](id)
		require.NoError(tb, err)
		require.NoError(tb, planner.KeepLoad(tb.Context(), pool, plan, march.Span()))
	}
	return pool
}

// TestPiecesOfALargePlanStaySmall: the same statements, however large the plan, and answers that fit a page.
func TestPiecesOfALargePlanStaySmall(t *testing.T) {
	t.Parallel()
	pool := newBigSchool(t)
	large, err := planner.PageStatements(t.Context(), pool, bigPlan, bigPlanOther, "dog", "S07")
	require.NoError(t, err)
	small := newSchool(t)
	small.startWorker(t)
	req := quick()
	req.Iterations = 20
	plan, other := small.draft(t, req), small.draft(t, req)
	few, err := planner.PageStatements(t.Context(), small.pool, plan.GetId(), other.GetId(), "a", "FENN")
	require.NoError(t, err)
	require.Equal(t, few, large)
	require.Equal(t, map[string]int{"head": 7, "list": 11, "load": 2, "compare": 23}, large)

	server := planner.PagesOf(pool)
	list, err := server.ListPlanned(t.Context(), &plannerv1.ListPlannedRequest{PlanId: bigPlan, Limit: 200})
	require.NoError(t, err)
	require.EqualValues(t, 2000, list.GetTotals().GetMatching())
	require.EqualValues(t, 50, list.GetTotals().GetHard())
	require.Less(t, proto.Size(list), 60_000)
	load, err := server.ReadLoad(t.Context(), &plannerv1.ReadLoadRequest{PlanId: bigPlan, By: plannerv1.LoadBy_LOAD_BY_WEEK})
	require.NoError(t, err)
	require.Len(t, load.GetLines(), 60*(4+6+1+1+1+1))
	require.Equal(t, []int32{7, 7, 7, 7, 3}, load.GetDays(), "March 2027 begins on a Monday: %s", calendar.MustDate("2027-03-01").Weekday())
	require.Less(t, proto.Size(load), 100_000)
	compared, err := server.ComparePlans(t.Context(), &plannerv1.ComparePlansRequest{PlanId: bigPlan, OtherPlanId: bigPlanOther, Limit: 50})
	require.NoError(t, err)
	require.EqualValues(t, 500, compared.GetDiffering())
	require.Len(t, compared.GetDifferences(), 50)
	require.Less(t, proto.Size(compared), 60_000)
}

// BenchmarkPieces measures what a page needs of a large plan, each call with its own snapshot.
func BenchmarkPieces(b *testing.B) {
	server := planner.PagesOf(newBigSchool(b))
	for name, call := range map[string]func() error{
		"head": func() error {
			_, err := server.ReadPlanHead(b.Context(), &plannerv1.ReadPlanHeadRequest{PlanId: bigPlan})
			return err
		},
		"list": func() error {
			_, err := server.ListPlanned(b.Context(), &plannerv1.ListPlannedRequest{PlanId: bigPlan, Limit: 50, Offset: 700})
			return err
		},
		"find": func() error {
			_, err := server.ListPlanned(b.Context(), &plannerv1.ListPlannedRequest{PlanId: bigPlan, Limit: 50, Find: "owner 17", SiteCode: "S07"})
			return err
		},
		"load by week": func() error {
			_, err := server.ReadLoad(b.Context(), &plannerv1.ReadLoadRequest{PlanId: bigPlan})
			return err
		},
		"load of a site by day": func() error {
			_, err := server.ReadLoad(b.Context(), &plannerv1.ReadLoadRequest{PlanId: bigPlan, SiteCode: "S07", By: plannerv1.LoadBy_LOAD_BY_DAY})
			return err
		},
		"compare": func() error {
			_, err := server.ComparePlans(b.Context(), &plannerv1.ComparePlansRequest{PlanId: bigPlan, OtherPlanId: bigPlanOther, Limit: 50})
			return err
		},
	} {
		b.Run(name, func(b *testing.B) {
			var worst time.Duration
			for b.Loop() {
				began := time.Now()
				require.NoError(b, call())
				worst = max(worst, time.Since(began))
			}
			b.ReportMetric(float64(worst.Microseconds())/1000, "worst-ms")
		})
	}
}
