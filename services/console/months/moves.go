package months

import (
	"strconv"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var movesPage = parse("moves.html")

// movesView is what a month could gain if promises moved.
type movesView struct {
	Month    string
	Study    *study
	Older    int
	MayDraft bool
	Trouble  *frame.Trouble
	every    int
}

// RefreshSeconds makes browsers without scripts look again while a study is worked on.
func (m movesView) RefreshSeconds() int { return m.every }

// study is one study as it is shown.
type study struct {
	ID, State, Phase, MadeBy, MadeAt, Failure string
	Working                                   bool
	Percent, Promises                         int32
	Points                                    []*plannerv1.MovePoint
	Picture                                   tradeOff
	Broken                                    []*plannerv1.BrokenPromise
	Path                                      string
}

var studyWords = map[plannerv1.MoveStudyState]string{
	plannerv1.MoveStudyState_MOVE_STUDY_STATE_WORKING: "being worked on", plannerv1.MoveStudyState_MOVE_STUDY_STATE_DONE: "done",
	plannerv1.MoveStudyState_MOVE_STUDY_STATE_CANCELLED: "stopped", plannerv1.MoveStudyState_MOVE_STUDY_STATE_FAILED: "failed",
}

func studyOf(s *plannerv1.MoveStudy) *study {
	out := &study{
		ID: s.GetId(), State: studyWords[s.GetState()], Phase: s.GetPhase(), MadeBy: s.GetMadeBy(), Failure: s.GetFailure(), Percent: s.GetPercentDone(),
		Promises: s.GetPromises(), Points: s.GetPoints(), Picture: tradeOffOf(s.GetPoints()), Broken: s.GetBroken(), Path: path("/month", s.GetMonth(), "moves", s.GetId()),
		Working: s.GetState() == plannerv1.MoveStudyState_MOVE_STUDY_STATE_WORKING,
	}
	if s.GetMadeAt() != nil {
		out.MadeAt = s.GetMadeAt().AsTime().Format("2 Jan 15:04")
	}
	return out
}

// showMoves shows the newest study of a month.
func showMoves(v *frame.Visit) error {
	month, err := monthOf(v)
	if err != nil {
		return err
	}
	return movesAs(v, month.String(), nil)
}

func movesAs(v *frame.Visit, month string, trouble *frame.Trouble) error {
	reply, err := planner(v).ListMoveStudies(v.Context(), &plannerv1.ListMoveStudiesRequest{Month: month})
	if err != nil {
		return err
	}
	view := movesView{Month: month, MayDraft: v.May(mayDraft), Trouble: trouble}
	if all := reply.GetStudies(); len(all) > 0 {
		view.Study, view.Older = studyOf(all[0]), len(all)-1
		if view.Study.Working {
			view.every = 3
		}
	}
	if trouble != nil {
		return v.ShowAs(trouble.Status, movesPage, view)
	}
	return v.Show(movesPage, view)
}

// startMoves starts a study.
func startMoves(v *frame.Visit) error {
	month, err := monthOf(v)
	if err != nil {
		return err
	}
	ask := &plannerv1.StartMoveStudyRequest{Month: month.String()}
	for _, word := range strings.FieldsFunc(v.Form("moves"), func(r rune) bool { return r == ',' || r == ' ' }) {
		n, err := strconv.ParseInt(word, 10, 32)
		if err != nil {
			t := frame.TroubleOf(apperr.InvalidField("moves", strconv.Quote(word)+" is no number", "write whole numbers with commas between, such as 1, 2, 5"))
			return movesAs(v, month.String(), &t)
		}
		ask.Moves = append(ask.Moves, int32(n))
	}
	seconds, err := strconv.ParseInt(v.Form("seconds"), 10, 32)
	if err != nil {
		seconds = -1 // the call says what is allowed
	}
	ask.Seconds = int32(seconds)
	_, err = planner(v).StartMoveStudy(v.Context(), ask)
	if trouble, ok := frame.Mendable(err); ok {
		return movesAs(v, month.String(), trouble)
	}
	if err != nil {
		return err
	}
	return v.Done(path("/month", month.String(), "moves"), "")
}

// stopMoves stops a study; what it has said stays.
func stopMoves(v *frame.Visit) error {
	if _, err := planner(v).CancelMoveStudy(v.Context(), &plannerv1.CancelMoveStudyRequest{StudyId: v.Path("study")}); err != nil {
		return err
	}
	return v.Done(path("/month", v.Path("month"), "moves"), "The study is stopped. What it has said until now stands.")
}

// followMoves sends a study as it comes.
func followMoves(v *frame.Visit) error {
	stream, err := planner(v).WatchMoveStudy(v.Context(), &plannerv1.WatchMoveStudyRequest{StudyId: v.Path("study")})
	if err != nil {
		return err
	}
	first, err := stream.Recv()
	if err != nil {
		return err
	}
	events := v.Events()
	for report := first; ; {
		view := movesView{Month: v.Path("month"), Study: studyOf(report.GetStudy()), MayDraft: v.May(mayDraft)}
		part, err := v.Render(movesPage, "study", view)
		if err != nil || events.Send("study", part) != nil {
			return nil //nolint:nilerr // the answer has begun: the browser asks again
		}
		if report, err = stream.Recv(); err != nil {
			_ = events.Send("away", path("/month", v.Path("month"), "moves"))
			return nil //nolint:nilerr // see above
		}
	}
}
