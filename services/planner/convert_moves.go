package planner

import (
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// defaultStudySeconds is longer than for a draft, as a study is many searches.
const defaultStudySeconds = 60

// defaultMoves are the numbers of moves that a study looks at when none are named.
var defaultMoves = []int{0, 1, 2, 5, 10}

func studyID(text string) (ids.MoveStudyID, error) {
	id, err := ids.Parse[ids.MoveStudyID](text)
	if err != nil {
		return id, apperr.InvalidField("study_id", err.Error(), "take it from what StartMoveStudy or ListMoveStudies returned")
	}
	return id, nil
}

// studyFromProto reads what is asked for and fills in the defaults.
func studyFromProto(req *plannerv1.StartMoveStudyRequest) (MoveStudy, error) {
	month, err := rpc.Month(req.GetMonth())
	if err != nil {
		return MoveStudy{}, err
	}
	s := MoveStudy{Month: month, SecondsLimit: int(req.GetSeconds()), Seed: req.GetSeed(), IterationsLimit: int(req.GetIterations()), Moves: []int{0}}
	for _, n := range req.GetMoves() {
		s.Moves = append(s.Moves, int(n))
	}
	if len(req.GetMoves()) == 0 {
		s.Moves = slices.Clone(defaultMoves)
	}
	slices.Sort(s.Moves)
	s.Moves = slices.Compact(s.Moves)
	if s.SecondsLimit == 0 {
		s.SecondsLimit = defaultStudySeconds
	}
	if s.Seed == 0 {
		s.Seed = defaultSeed
	}
	return s, nil
}

var studyStateToProto = map[string]plannerv1.MoveStudyState{
	StudyWorking:   plannerv1.MoveStudyState_MOVE_STUDY_STATE_WORKING,
	StudyDone:      plannerv1.MoveStudyState_MOVE_STUDY_STATE_DONE,
	StudyCancelled: plannerv1.MoveStudyState_MOVE_STUDY_STATE_CANCELLED,
	StudyFailed:    plannerv1.MoveStudyState_MOVE_STUDY_STATE_FAILED,
}

func studyToProto(s MoveStudy) *plannerv1.MoveStudy {
	out := &plannerv1.MoveStudy{
		Id: s.ID.String(), Month: s.Month.String(), State: studyStateToProto[s.State], Phase: s.Phase, Requests: int32(s.Result.Requests),
		Promises: int32(s.Result.Promises), Seconds: s.Seconds, Seed: s.Seed, Fingerprint: s.Fingerprint, MadeBy: s.MadeBy,
		MadeAt: timestamppb.New(s.MadeAt), Failure: s.Failure, PercentDone: int32(s.PercentDone),
	}
	for i := range s.Result.Points {
		out.Points = append(out.Points, pointToProto(&s.Result.Points[i], &s.Result.Points[0]))
	}
	for _, b := range s.Result.Broken {
		out.Broken = append(out.Broken, &plannerv1.BrokenPromise{RequestCode: b.Request, DogName: b.Dog, Promised: standToProto(&b.Promised), Reason: b.Reason})
	}
	return out
}

// pointToProto compares a point with none, the one without a move.
func pointToProto(x, none *MovePoint) *plannerv1.MovePoint {
	gap := allocation.TradeOffPoint{Found: x.Found, Value: x.Points, Bound: x.Bound}.Gap()
	out := &plannerv1.MovePoint{Moves: int32(x.Moves), Moved: int32(x.Moved), Found: x.Found, Impossible: x.Impossible, Placed: int32(x.Placed),
		Points: x.Points, Bound: x.Bound, GapPercent: gap, PolicyPoints: x.PolicyPoints, Gained: x.Gained, Lost: x.Lost}
	if x.Found && none.Found {
		out.MorePlaced, out.MorePoints = int32(x.Placed-none.Placed), x.Points-none.Points
	}
	for _, m := range x.List {
		out.MoveList = append(out.MoveList, &plannerv1.Move{RequestCode: m.Request, DogName: m.Dog, From: standToProto(&m.From), To: standToProto(m.To)})
	}
	return out
}

func standToProto(s *Stand) *plannerv1.Stand {
	if s == nil {
		return nil
	}
	return &plannerv1.Stand{SiteCode: s.Site, Arrival: s.Arrival, TrainerCode: s.Trainer}
}
