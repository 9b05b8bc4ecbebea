package planner_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

// newTwinSchool is the scenario and once more the same school under other codes, with fewer requests: two regions. What
// happens to a region is written down by the database itself.
func newTwinSchool(t *testing.T) *school {
	t.Helper()
	s := newSchool(t)
	var twins []exchange.File
	for _, f := range scenariotest.Files(t) {
		if !slices.Contains([]string{"programs.csv", "policy.csv", "skills.csv", "targets.csv", "sessions.csv"}, f.Name) { // the two have these in common
			twins = append(twins, exchange.File{Name: f.Name, Content: twin(t, f.Content)})
		}
	}
	s.take(t, twins...)
	_, err := s.pool.Exec(t.Context(), `
		create table region_log (at timestamptz, what text, number int, who text);
		create function log_region() returns trigger language plpgsql as $$ begin
		  if new.attempt > old.attempt then insert into region_log values (clock_timestamp(), 'begun', new.number, current_setting('application_name')); end if;
		  if new.solution is not null and old.solution is null then insert into region_log values (clock_timestamp(), 'kept', new.number, current_setting('application_name')); end if;
		  return new;
		end $$;
		create trigger log_region after update on planner.region for each row execute function log_region()`)
	require.NoError(t, err)
	return s
}

// twin gives every code of a file an ending, and leaves requests out.
func twin(t *testing.T, content []byte) []byte {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(content)).ReadAll()
	require.NoError(t, err)
	var out bytes.Buffer
	to := csv.NewWriter(&out)
	require.NoError(t, to.Write(rows[0]))
	coded := []string{"code", "site", "trainer", "owner", "dog", "request", "home_site", "household"}
	for _, row := range rows[1:] {
		if row[0] >= "M-230" && row[0] <= "M-260" {
			continue
		}
		for i, column := range rows[0] {
			if slices.Contains(coded, column) && row[i] != "" {
				row[i] += "B"
			}
		}
		require.NoError(t, to.Write(row))
	}
	to.Flush()
	require.NoError(t, to.Error())
	return out.Bytes()
}

// logged lists what happened to regions: number and worker.
func (s *school) logged(t *testing.T, what string) (entries []string) {
	t.Helper()
	rows, err := s.pool.Query(t.Context(), `select number, who from region_log where what = $1 order by at`, what)
	require.NoError(t, err)
	defer rows.Close()
	for rows.Next() {
		var number int
		var who string
		require.NoError(t, rows.Scan(&number, &who))
		entries = append(entries, fmt.Sprintf("%d by %s", number, who))
	}
	require.NoError(t, rows.Err())
	return entries
}

func (s *school) count(t *testing.T, query string, args ...any) (n int) {
	t.Helper()
	require.NoError(t, s.pool.QueryRow(t.Context(), query, args...).Scan(&n))
	return n
}

// samePlan requires that two plans are the same in every placement, reason, value and bound.
func samePlan(t *testing.T, s *school, a, b string) {
	t.Helper()
	first, second := s.read(t, a), s.read(t, b)
	require.Equal(t, planText(first), planText(second))
	require.Equal(t, first.GetPlan().GetBound(), second.GetPlan().GetBound())
	require.Equal(t, len(first.GetUses()), len(second.GetUses()))
	for i, u := range first.GetUses() {
		require.Equal(t, u.String(), second.GetUses()[i].String())
	}
}

// rows of the two tables, which are there only while a draft is made in regions.
const regionRows = `select (select count(*) from planner.region) + (select count(*) from planner.division)`

// long is a limit that makes a search last long enough to be met in the middle, about as long with the race detector as without.
func long(iterations int32) int32 {
	if underRace {
		return iterations / 8
	}
	return iterations
}

func TestRegionsMakeOnePlan(t *testing.T) {
	t.Parallel()
	s := newTwinSchool(t)
	s.startWorker(t)
	req := &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: long(3000)}
	alone := s.draft(t, req)
	require.EqualValues(t, 260+229, alone.GetRequests())
	whole := s.read(t, alone.GetId())
	require.Len(t, whole.GetPlacements(), int(alone.GetPlaced()))
	require.Len(t, whole.GetWaits(), int(alone.GetRequests()-alone.GetPlaced()))
	require.GreaterOrEqual(t, alone.GetBound(), alone.GetValue())
	recount(t, s, whole)
	require.ElementsMatch(t, []string{"1 by test", "2 by test"}, s.logged(t, "kept"))
	require.Zero(t, s.count(t, regionRows), "what only the regions needed is gone")
	require.Equal(t, 2, s.count(t, `select count(*) from river_job where kind = 'draft_region'`))
	require.Equal(t, 2, s.count(t, `select count(*) from river_job where kind = 'draft_month_plan'`), "one divides, one joins")

	// Three workers make the same plan, although the inputs change meanwhile: all regions plan from what was read at the start.
	s.startWorker(t)
	s.startWorker(t)
	started, err := s.planner.DraftPlan(t.Context(), req)
	require.NoError(t, err)
	require.Eventually(t, func() bool { return s.count(t, `select count(*) from planner.region where value > 0`) > 0 }, time.Minute, 5*time.Millisecond)
	for _, trainer := range []string{"IMARA", "IMARAB"} {
		_, err = s.roster.RecordAbsence(t.Context(), &rosterv1.RecordAbsenceRequest{TrainerCode: trainer, FirstDay: "2027-03-10", LastDay: "2027-03-12", Kind: rosterv1.AbsenceKind_ABSENCE_KIND_SICKNESS})
		require.NoError(t, err)
	}
	require.Positive(t, s.count(t, `select count(*) from planner.region where solution is null`), "a region is still to be solved")
	second := s.wait(t, started.GetPlan().GetId())
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, second.GetState(), second.GetFailure())
	samePlan(t, s, alone.GetId(), second.GetId())
	_, err = s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: second.GetId()})
	requireRefusal(t, err, codes.FailedPrecondition, "have changed since plan 2 of 2027-03 was drafted")

	third := s.draft(t, quick())
	published, err := s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: third.GetId()})
	require.NoError(t, err)
	require.Equal(t, third.GetPlaced(), published.GetNewStays())
	// Planned again, the promises of every region are its start.
	again := s.read(t, s.draft(t, quick()).GetId())
	recount(t, s, again)
	kept := 0
	for _, p := range again.GetPlacements() {
		if p.GetStanding() == "kept" {
			kept++
		}
	}
	require.Greater(t, kept, int(third.GetPlaced())*9/10)
}

// startProcess runs a worker in a process of its own, until it is killed.
func (s *school) startProcess(t *testing.T, name string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	worker := exec.CommandContext(t.Context(), self)
	worker.Env = append(os.Environ(), envWorker+"="+postgrestest.URL(s.pool), envName+"="+name)
	require.NoError(t, worker.Start())
	t.Cleanup(func() {
		_ = worker.Process.Kill()
		_ = worker.Wait()
	})
	require.Eventually(t, func() bool {
		return s.count(t, `select count(*) from pg_stat_activity where application_name = $1`, name) > 0
	}, time.Minute, 20*time.Millisecond, "%s connects", name)
	return worker
}

// TestAnotherProcessSolvesARegion has two processes search a region each, and kills one of them in mid-search (SIGKILL). The
// other solves both, once each, and the plan is the one that a single process makes.
func TestAnotherProcessSolvesARegion(t *testing.T) {
	t.Parallel()
	s := newTwinSchool(t)
	processes := map[string]*exec.Cmd{"first": s.startProcess(t, "first"), "second": s.startProcess(t, "second")}
	req := &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: long(12_000)}
	started, err := s.planner.DraftPlan(t.Context(), req)
	require.NoError(t, err)
	id := started.GetPlan().GetId()
	require.Eventually(t, func() bool {
		return s.count(t, `select count(*) from planner.region where value > 0 and solution is null`) == 2
	}, time.Minute, 5*time.Millisecond, "both regions are searched at the same time")
	begun := s.logged(t, "begun")
	require.Len(t, begun, 2)
	doomed, survivor := "first", "second"
	if slices.Contains(begun, "1 by second") {
		doomed, survivor = survivor, doomed
	}
	require.ElementsMatch(t, []string{"1 by " + doomed, "2 by " + survivor}, begun)
	require.NoError(t, processes[doomed].Process.Kill())
	_ = processes[doomed].Wait()
	require.Empty(t, s.logged(t, "kept"), "it was killed in mid-search")

	plan := s.follow(t, id, false)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, plan.GetState(), plan.GetFailure())
	recount(t, s, s.read(t, id))
	require.ElementsMatch(t, []string{"1 by " + survivor, "2 by " + survivor}, s.logged(t, "kept"), "each region was kept once")
	require.ElementsMatch(t, []string{"1 by " + doomed, "1 by " + survivor, "2 by " + survivor}, s.logged(t, "begun"))
	require.Equal(t, 3, s.count(t, `select count(*) from river_job where kind = 'draft_region'`), "the rescuer started one more job, and no more")
	require.Equal(t, 2, s.count(t, `select count(*) from river_job where kind = 'draft_month_plan'`), "one divides, one joins")
	require.Zero(t, s.count(t, regionRows))

	samePlan(t, s, id, s.draft(t, req).GetId()) // by the survivor alone
}

func TestCancelStopsAllRegions(t *testing.T) {
	t.Parallel()
	s := newTwinSchool(t)
	s.startWorker(t)
	s.startWorker(t)
	started, err := s.planner.DraftPlan(t.Context(), &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600})
	require.NoError(t, err)
	id := started.GetPlan().GetId()
	require.Eventually(t, func() bool { return s.count(t, `select count(*) from planner.region where value > 0`) == 2 }, time.Minute, 20*time.Millisecond)
	_, err = s.planner.CancelDraft(t.Context(), &plannerv1.CancelDraftRequest{PlanId: id})
	require.NoError(t, err)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_CANCELLED, s.wait(t, id).GetState())
	require.Zero(t, s.count(t, regionRows))
	require.Eventually(t, func() bool { return s.count(t, `select count(*) from river_job where state = 'running'`) == 0 }, 20*time.Second, 20*time.Millisecond,
		"both searches stop")
	require.Empty(t, s.logged(t, "kept"))
	s.draft(t, quick())
}

// TestARegionIsLeftAndGivenUp stops a worker in order, which costs its region no attempt, and then has a region lose every
// worker that it may have.
func TestARegionIsLeftAndGivenUp(t *testing.T) {
	t.Parallel()
	s := newTwinSchool(t)
	started, err := s.planner.DraftPlan(t.Context(), &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600})
	require.NoError(t, err)
	id := started.GetPlan().GetId()
	for i := range 3 { // the third finds both taken up and left
		t.Run(fmt.Sprint("worker ", i), func(t *testing.T) {
			s.startWorker(t) // it stops with this subtest
			require.Eventually(t, func() bool { return len(s.logged(t, "begun")) == i+1 }, time.Minute, 20*time.Millisecond, "a region is taken up")
			require.Eventually(t, func() bool { return s.count(t, `select count(*) from planner.region where value > 0`) > 0 }, time.Minute, 20*time.Millisecond)
		})
		require.Zero(t, s.count(t, `select sum(attempt) from planner.region`), "each gave its attempt back")
	}
	_, err = s.pool.Exec(t.Context(), `update planner.region set attempt = 4, phase = 'solving' where number = 2`)
	require.NoError(t, err)
	require.NoError(t, planner.NewRescuer(s.pool, s.jobs, quiet()).Rescue(t.Context()))
	plan := s.wait(t, id)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_FAILED, plan.GetState())
	require.Contains(t, plan.GetFailure(), "4 attempts at region 2")
	require.Zero(t, s.count(t, regionRows))
}

// TestAJoinThatFailsIsRepeated lets the database refuse the first joined plan: it is joined again from what the regions found,
// and no region is solved again.
func TestAJoinThatFailsIsRepeated(t *testing.T) {
	t.Parallel()
	s := newTwinSchool(t)
	_, err := s.pool.Exec(t.Context(), `
		create sequence tries;
		create function refuse_once() returns trigger language plpgsql as $$ begin
		  if nextval('tries') = 1 then raise exception 'not yet'; end if;
		  return null;
		end $$;
		create trigger refuse_once after insert on planner.placement for each row execute function refuse_once()`)
	require.NoError(t, err)
	s.startWorker(t)
	plan := s.draft(t, quick())
	recount(t, s, s.read(t, plan.GetId()))
	require.ElementsMatch(t, []string{"1 by test", "2 by test"}, s.logged(t, "begun"))
	require.Equal(t, 3, s.count(t, `select count(*) from river_job where kind = 'draft_month_plan'`), "one divides, two join")
	require.Equal(t, 2, s.count(t, `select attempt from planner.plan where id = $1`, plan.GetId()))
}
