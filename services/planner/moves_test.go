package planner_test

import (
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

// promise drafts a month in haste and publishes it, and returns what was promised, by request.
func (s *school) promise(t *testing.T) map[string]*plannerv1.Stay {
	t.Helper()
	plan := s.draft(t, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: 50})
	_, err := s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	stays, err := s.planner.ListStays(t.Context(), &plannerv1.ListStaysRequest{Month: scenario.Month})
	require.NoError(t, err)
	promised := map[string]*plannerv1.Stay{}
	for _, stay := range stays.GetStays() {
		if stay.GetState() == "published" {
			promised[stay.GetRequestCode()] = stay
		}
	}
	require.NotEmpty(t, promised)
	return promised
}

func (s *school) startStudy(t *testing.T, req *plannerv1.StartMoveStudyRequest) string {
	t.Helper()
	started, err := s.planner.StartMoveStudy(t.Context(), req)
	require.NoError(t, err)
	require.Equal(t, plannerv1.MoveStudyState_MOVE_STUDY_STATE_WORKING, started.GetStudy().GetState())
	return started.GetStudy().GetId()
}

// waitStudy follows a study until it ends, and requires that its reports only get better unless another worker begins anew.
func (s *school) waitStudy(t *testing.T, id string) *plannerv1.MoveStudy {
	t.Helper()
	stream, err := s.planner.WatchMoveStudy(t.Context(), &plannerv1.WatchMoveStudyRequest{StudyId: id})
	require.NoError(t, err)
	var last *plannerv1.MoveStudy
	for {
		event, err := stream.Recv()
		if err != nil {
			require.ErrorContains(t, err, "EOF")
			return last
		}
		study := event.GetStudy()
		for i, x := range study.GetPoints() {
			if len(last.GetPoints()) > i && last.GetPoints()[i].GetFound() && study.GetState() != plannerv1.MoveStudyState_MOVE_STUDY_STATE_DONE {
				require.GreaterOrEqual(t, x.GetPoints(), last.GetPoints()[i].GetPoints())
				require.LessOrEqual(t, x.GetBound(), last.GetPoints()[i].GetBound())
			}
		}
		last = study
	}
}

// recountStudy holds a study against the promises as the API tells them.
func recountStudy(t *testing.T, study *plannerv1.MoveStudy, promised map[string]*plannerv1.Stay) {
	t.Helper()
	var before *plannerv1.MovePoint
	for _, x := range study.GetPoints() {
		require.True(t, x.GetFound(), "%d moves", x.GetMoves())
		require.GreaterOrEqual(t, x.GetBound(), x.GetPoints())
		require.LessOrEqual(t, x.GetMoved(), x.GetMoves())
		require.Len(t, x.GetMoveList(), int(x.GetMoved()))
		stayingPut := 80 * int64(study.GetPromises()) // the defaults of "same day" and "same trainer"
		for _, m := range x.GetMoveList() {
			was := promised[m.GetRequestCode()]
			require.NotNil(t, was, "%s was promised nothing", m.GetRequestCode())
			require.Equal(t, []string{was.GetSiteCode(), was.GetArrival(), was.GetTrainerCode()},
				[]string{m.GetFrom().GetSiteCode(), m.GetFrom().GetArrival(), m.GetFrom().GetTrainerCode()})
			sameDay := m.GetTo() != nil && m.GetTo().GetSiteCode() == was.GetSiteCode() && m.GetTo().GetArrival() == was.GetArrival()
			sameHands := m.GetTo() != nil && m.GetTo().GetTrainerCode() == was.GetTrainerCode()
			require.False(t, sameDay && sameHands, "%s does not move", m.GetRequestCode())
			if !sameDay {
				stayingPut -= 60
			}
			if !sameHands {
				stayingPut -= 20
			}
			if m.GetTo() == nil {
				require.Contains(t, append(x.GetLost(), "none lost"), m.GetRequestCode())
			}
		}
		require.Equal(t, x.GetPoints()+stayingPut, x.GetPolicyPoints(), "%d moves", x.GetMoves())
		if before == nil {
			before = x
			require.Zero(t, x.GetMoves()+x.GetMoved()+x.GetMorePlaced())
			require.Empty(t, x.GetGained())
			require.Empty(t, x.GetLost())
		}
		require.GreaterOrEqual(t, x.GetPoints(), before.GetPoints())
		require.GreaterOrEqual(t, x.GetBound(), before.GetBound())
		require.Equal(t, x.GetPoints()-study.GetPoints()[0].GetPoints(), x.GetMorePoints())
		require.Equal(t, x.GetPlaced()-study.GetPoints()[0].GetPlaced(), x.GetMorePlaced())
		require.Equal(t, int(x.GetMorePlaced()), len(x.GetGained())-len(x.GetLost()))
		before = x
	}
}

func TestMoves(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	ask := &plannerv1.StartMoveStudyRequest{Month: scenario.Month, Seconds: 600, Iterations: 20_000, Moves: []int32{5, 1, 2, 1, 20}}
	if underRace {
		ask.Iterations = 2_000
	}
	empty := s.waitStudy(t, s.startStudy(t, &plannerv1.StartMoveStudyRequest{Month: scenario.Month, Seconds: 600, Iterations: 50, Moves: []int32{3}}))
	require.Equal(t, plannerv1.MoveStudyState_MOVE_STUDY_STATE_DONE, empty.GetState(), empty.GetFailure())
	require.Zero(t, empty.GetPromises(), "nothing was published")
	require.Len(t, empty.GetPoints(), 2)
	require.Equal(t, empty.GetPoints()[0].GetBound(), empty.GetPoints()[1].GetBound(), "there is nothing to move")

	promised := s.promise(t)
	study := s.waitStudy(t, s.startStudy(t, ask))
	require.Equal(t, plannerv1.MoveStudyState_MOVE_STUDY_STATE_DONE, study.GetState(), study.GetFailure())
	require.EqualValues(t, 260, study.GetRequests())
	require.Len(t, promised, int(study.GetPromises()))
	require.Empty(t, study.GetBroken())
	require.EqualValues(t, 100, study.GetPercentDone())
	require.Len(t, study.GetPoints(), 5, "0 is added, what is named twice is looked at once")
	recountStudy(t, study, promised)
	for _, x := range study.GetPoints() {
		t.Logf("%2d moves: %2d moved, %d placed, %d points, bound %d, gap %.2f %%", x.GetMoves(), x.GetMoved(), x.GetPlaced(), x.GetPoints(), x.GetBound(), x.GetGapPercent())
	}
	if !underRace { // which leaves no time to find anything
		require.Positive(t, study.GetPoints()[4].GetMorePoints(), "a plan made in haste gains by moves")
	}
	require.Less(t, study.GetPoints()[0].GetBound(), study.GetPoints()[4].GetBound())

	list, err := s.planner.ListMoveStudies(t.Context(), &plannerv1.ListMoveStudiesRequest{Month: scenario.Month})
	require.NoError(t, err)
	require.Len(t, list.GetStudies(), 2)
	require.Equal(t, study.GetId(), list.GetStudies()[0].GetId(), "the newest first")
	require.Equal(t, "manager", list.GetStudies()[0].GetMadeBy())
	none, err := s.planner.ListMoveStudies(t.Context(), &plannerv1.ListMoveStudiesRequest{Month: "2027-04"})
	require.NoError(t, err)
	require.Empty(t, none.GetStudies())

	// A trainer leaves: what was promised with them cannot stay, and that is no choice of moves.
	gone := ""
	for _, stay := range promised {
		gone = max(gone, stay.GetTrainerCode())
	}
	_, err = s.roster.RecordAbsence(t.Context(), &rosterv1.RecordAbsenceRequest{TrainerCode: gone, FirstDay: "2027-03-01", LastDay: "2027-05-31", Kind: rosterv1.AbsenceKind_ABSENCE_KIND_SICKNESS})
	require.NoError(t, err)
	ask.Iterations = 500
	later := s.waitStudy(t, s.startStudy(t, ask))
	require.Equal(t, plannerv1.MoveStudyState_MOVE_STUDY_STATE_DONE, later.GetState(), later.GetFailure())
	require.NotEmpty(t, later.GetBroken())
	require.Len(t, promised, int(later.GetPromises())+len(later.GetBroken()))
	for _, b := range later.GetBroken() {
		require.Equal(t, gone, promised[b.GetRequestCode()].GetTrainerCode())
		require.Equal(t, gone, b.GetPromised().GetTrainerCode())
		require.NotEmpty(t, b.GetReason())
	}
	require.NotEqual(t, study.GetFingerprint(), later.GetFingerprint())
}

func TestMovesCancelled(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	s.promise(t)
	id := s.startStudy(t, &plannerv1.StartMoveStudyRequest{Month: scenario.Month, Seconds: 600})
	require.Eventually(t, func() bool {
		list, err := s.planner.ListMoveStudies(t.Context(), &plannerv1.ListMoveStudiesRequest{})
		require.NoError(t, err)
		points := list.GetStudies()[0].GetPoints()
		return len(points) == 5 && points[0].GetFound()
	}, time.Minute, 50*time.Millisecond, "the search begins")
	cancelled, err := s.planner.CancelMoveStudy(t.Context(), &plannerv1.CancelMoveStudyRequest{StudyId: id})
	require.NoError(t, err)
	require.Equal(t, plannerv1.MoveStudyState_MOVE_STUDY_STATE_CANCELLED, cancelled.GetStudy().GetState())
	require.Equal(t, plannerv1.MoveStudyState_MOVE_STUDY_STATE_CANCELLED, s.waitStudy(t, id).GetState())
	require.True(t, s.waitStudy(t, id).GetPoints()[0].GetFound(), "what it said so far stays")
	_, err = s.planner.CancelMoveStudy(t.Context(), &plannerv1.CancelMoveStudyRequest{StudyId: id})
	requireRefusal(t, err, codes.FailedPrecondition, "it is cancelled")
	// The worker is free again.
	s.draft(t, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: 50})
}

// TestMovesOfADeadWorker kills a worker process in the middle of a study; a worker in another process makes it.
func TestMovesOfADeadWorker(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	id := s.startStudy(t, &plannerv1.StartMoveStudyRequest{Month: scenario.Month, Seconds: 600, Moves: []int32{1}})
	var (
		begun              bool
		attempts, jobCount int
	)
	self, err := os.Executable()
	require.NoError(t, err)
	doomed := exec.CommandContext(t.Context(), self)
	doomed.Env = append(os.Environ(), envWorker+"="+postgrestest.URL(s.pool))
	require.NoError(t, doomed.Start())
	require.Eventually(t, func() bool {
		require.NoError(t, s.pool.QueryRow(t.Context(), `select attempt = 1 and seconds > 0 from planner.move_study where id = $1`, id).Scan(&begun))
		return begun
	}, time.Minute, 20*time.Millisecond, "the first worker searches")
	require.NoError(t, doomed.Process.Kill())
	_ = doomed.Wait()
	// The second worker would search as long: it is given less.
	_, err = s.pool.Exec(t.Context(), `update planner.move_study set seconds_limit = 4 where id = $1`, id)
	require.NoError(t, err)
	s.startWorker(t)
	study := s.waitStudy(t, id)
	require.Equal(t, plannerv1.MoveStudyState_MOVE_STUDY_STATE_DONE, study.GetState(), study.GetFailure())
	require.NoError(t, s.pool.QueryRow(t.Context(), `select attempt from planner.move_study where id = $1`, id).Scan(&attempts))
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from river_job where kind = 'study_moves'`).Scan(&jobCount))
	require.Equal(t, 2, attempts, "the second worker began anew")
	require.Equal(t, 2, jobCount, "the rescuer started one more job, and no more")
}

func TestMovesThatMakeNoSense(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for _, c := range []struct {
		req  *plannerv1.StartMoveStudyRequest
		says string
	}{
		{&plannerv1.StartMoveStudyRequest{Month: "2027-13"}, "2027-13"},
		{&plannerv1.StartMoveStudyRequest{Month: "soon"}, "month"},
		{&plannerv1.StartMoveStudyRequest{Month: scenario.Month, Moves: []int32{-1}}, "moves"},
		{&plannerv1.StartMoveStudyRequest{Month: scenario.Month, Moves: make([]int32, 13)}, "moves"},
		{&plannerv1.StartMoveStudyRequest{Month: scenario.Month, Seconds: 601}, "seconds"},
	} {
		_, err := s.planner.StartMoveStudy(t.Context(), c.req)
		requireRefusal(t, err, codes.InvalidArgument, c.says)
	}
	_, err := s.planner.CancelMoveStudy(t.Context(), &plannerv1.CancelMoveStudyRequest{StudyId: "0194f3e0-7b1c-7d7e-a0e0-cae06641f1d8"})
	requireRefusal(t, err, codes.NotFound, "there is no study of moves")
	_, err = s.planner.ListMoveStudies(t.Context(), &plannerv1.ListMoveStudiesRequest{Month: "2027-00"})
	requireRefusal(t, err, codes.InvalidArgument, "2027-00")
}
