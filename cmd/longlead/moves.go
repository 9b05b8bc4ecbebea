package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"github.com/longlead/longlead/services/apperr"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

type planMovesCmd struct {
	Month      string  `arg:"" help:"Month, written 2027-03."`
	Moves      []int32 `help:"Numbers of moves to look at, such as 1,2,5; 0 is always looked at." default:"1,2,5,10"`
	Seconds    int32   `help:"Most seconds of solving for all of them together; 1 to 600." default:"60"`
	Seed       int64   `help:"Seed of the search." default:"1"`
	Iterations int32   `help:"Most iterations of the search, for a result that can be repeated; 0 for no limit." default:"0"`
	Last       bool    `help:"Show the newest study of the month again instead of making one."`
}

// Run studies what moving promises is worth, or shows the newest study.
func (c *planMovesCmd) Run(ctx context.Context, o *Options, std streams) error {
	if c.Last {
		return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
			list, err := client.ListMoveStudies(ctx, &plannerv1.ListMoveStudiesRequest{Month: c.Month})
			if err != nil {
				return err
			}
			if len(list.GetStudies()) == 0 {
				return apperr.NotFoundf("STUDY_UNKNOWN", "there is no study of moves of %s: the command without --last makes one", c.Month)
			}
			return showStudy(std.out, o, list.GetStudies()[0])
		})
	}
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	if err := a.work(ctx, false); err != nil {
		return err
	}
	study, err := c.study(ctx, plannerv1.NewPlannerServiceClient(a.conn), std)
	if err != nil {
		return err
	}
	return showStudy(std.out, o, study)
}

// study starts a study and follows it. When the caller is interrupted it is cancelled: nobody waits for it any more.
func (c *planMovesCmd) study(ctx context.Context, client plannerv1.PlannerServiceClient, std streams) (*plannerv1.MoveStudy, error) {
	started, err := client.StartMoveStudy(ctx, &plannerv1.StartMoveStudyRequest{Month: c.Month, Moves: c.Moves, Seconds: c.Seconds, Seed: c.Seed, Iterations: c.Iterations})
	if err != nil {
		return nil, err
	}
	id := started.GetStudy().GetId()
	study, err := followStudy(ctx, client, id, std)
	switch {
	case err != nil && ctx.Err() != nil:
		_, cancelErr := client.CancelMoveStudy(context.WithoutCancel(ctx), &plannerv1.CancelMoveStudyRequest{StudyId: id})
		return nil, errors.Join(fmt.Errorf("interrupted; the study of moves of %s is cancelled", c.Month), cancelErr)
	case err != nil:
		return nil, err
	case study.GetState() == plannerv1.MoveStudyState_MOVE_STUDY_STATE_FAILED:
		return nil, fmt.Errorf("the study of moves of %s failed: %s", c.Month, study.GetFailure())
	case study.GetState() == plannerv1.MoveStudyState_MOVE_STUDY_STATE_CANCELLED:
		return nil, fmt.Errorf("the study of moves of %s was cancelled", c.Month)
	}
	return study, nil
}

func followStudy(ctx context.Context, client plannerv1.PlannerServiceClient, id string, std streams) (*plannerv1.MoveStudy, error) {
	stream, err := client.WatchMoveStudy(ctx, &plannerv1.WatchMoveStudyRequest{StudyId: id})
	if err != nil {
		return nil, err
	}
	show := newProgress(std.err, "Studying moves")
	defer show.stop()
	var last *plannerv1.MoveStudy
	for {
		event, err := stream.Recv()
		if err == io.EOF {
			return last, nil
		}
		if err != nil {
			return nil, err
		}
		last = event.GetStudy()
		var placed []string
		for _, x := range last.GetPoints() {
			if x.GetFound() {
				placed = append(placed, fmt.Sprintf("%d moves %d placed", x.GetMoves(), x.GetPlaced()))
			}
		}
		show.update(last.GetPhase()+": "+strings.Join(placed, ", "), int64(last.GetPercentDone()), 100)
	}
}

func showStudy(out io.Writer, o *Options, study *plannerv1.MoveStudy) error {
	if o.JSON {
		return printJSON(out, study)
	}
	printStudy(out, o, study)
	return nil
}

var studyWords = map[plannerv1.MoveStudyState]string{
	plannerv1.MoveStudyState_MOVE_STUDY_STATE_WORKING: "still being worked on", plannerv1.MoveStudyState_MOVE_STUDY_STATE_DONE: "done",
	plannerv1.MoveStudyState_MOVE_STUDY_STATE_CANCELLED: "cancelled", plannerv1.MoveStudyState_MOVE_STUDY_STATE_FAILED: "failed",
}

func printStudy(out io.Writer, o *Options, study *plannerv1.MoveStudy) {
	fmt.Fprintf(out, "Moving promises in %s: %d requests, %d promises that could stay or move; %s, %.1f s.\n\n", study.GetMonth(), study.GetRequests(),
		study.GetPromises(), studyWords[study.GetState()], study.GetSeconds())
	t := newTable(out, "moves at most", "moved", "placed", "points", "proven bound", "gap", "more placed", "more points", "by the whole policy")
	impossible := false
	for _, x := range study.GetPoints() {
		switch {
		case x.GetImpossible():
			impossible = true
			t.AppendRow(table.Row{x.GetMoves(), "impossible"})
		case !x.GetFound():
			t.AppendRow(table.Row{x.GetMoves(), "none found", "", "", x.GetBound()})
		default:
			t.AppendRow(table.Row{x.GetMoves(), x.GetMoved(), x.GetPlaced(), x.GetPoints(), x.GetBound(), percent(x.GetGapPercent()),
				fmt.Sprintf("%+d", x.GetMorePlaced()), fmt.Sprintf("%+d", x.GetMorePoints()), x.GetPolicyPoints()})
		}
	}
	t.Render()
	fmt.Fprintln(out, text.WrapSoft("A move is another site, arrival day or trainer, or a promise given up; another run is none. Points leave out what the policy gives "+
		"for keeping day and trainer, so that they show what a move is worth; the last column is the same plan by the whole policy.", 110))
	if impossible {
		fmt.Fprintln(out, "Impossible: the promises do not fit together any more, and every plan moves more of them than that.")
	}
	printMoves(out, study.GetPoints())
	printBroken(out, study.GetBroken())
	if study.GetPromises() == 0 {
		fmt.Fprintf(out, "\nNothing is promised in this month that could move. Publishing makes promises:\n%s\n", o.command("plan publish "+study.GetMonth()))
	}
}

// printMoves says point by point who moves and whom that serves.
func printMoves(out io.Writer, points []*plannerv1.MovePoint) {
	for i, x := range points {
		if x.GetMoved() == 0 || len(x.GetMoveList()) == 0 || i > 0 && x.GetMoved() == points[i-1].GetMoved() && x.GetPoints() == points[i-1].GetPoints() {
			continue
		}
		fmt.Fprintf(out, "\nWith %d moved: %+d placed, %+d points. Placed now: %s. No longer placed: %s.\n", x.GetMoved(), x.GetMorePlaced(), x.GetMorePoints(),
			someCodes(x.GetGained()), someCodes(x.GetLost()))
		t := newTable(out, "request", "dog", "promised", "would be")
		for _, m := range x.GetMoveList() {
			to := "given up"
			if m.GetTo() != nil {
				to = standWords(m.GetTo())
			}
			t.AppendRow(table.Row{m.GetRequestCode(), m.GetDogName(), standWords(m.GetFrom()), to})
		}
		t.Render()
	}
}

func printBroken(out io.Writer, broken []*plannerv1.BrokenPromise) {
	if len(broken) == 0 {
		return
	}
	fmt.Fprintf(out, "\nPromises that cannot stay as they are whatever is decided (%d); they count in no number of moves:\n", len(broken))
	t := newTable(out, "request", "dog", "promised", "why it cannot stay")
	for _, b := range broken {
		t.AppendRow(table.Row{b.GetRequestCode(), b.GetDogName(), standWords(b.GetPromised()), text.WrapSoft(b.GetReason(), 50)})
	}
	t.Render()
}

func standWords(s *plannerv1.Stand) string {
	return fmt.Sprintf("%s %s with %s", s.GetSiteCode(), s.GetArrival(), s.GetTrainerCode())
}

// someCodes lists requests, or says that there is none.
func someCodes(codes []string) string {
	if len(codes) == 0 {
		return "none"
	}
	return heldBy(codes)
}
