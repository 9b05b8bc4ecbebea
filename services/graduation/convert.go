package graduation

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"

	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
)

// arrangedNames shows what IDs stand for.
type arrangedNames struct {
	zone     *time.Location
	cases    map[ids.RequestID]enrollment.Case
	trainers map[ids.TrainerID]string
	areas    map[ids.AreaID]string
}

func readArrangedNames(ctx context.Context, tx postgres.Tx, site facility.Site, got Arrangement) (n arrangedNames, err error) {
	n = arrangedNames{cases: map[ids.RequestID]enrollment.Case{}, trainers: map[ids.TrainerID]string{}, areas: map[ids.AreaID]string{}}
	if n.zone, err = calendar.LoadZone(site.Zone); err != nil {
		return n, err
	}
	requests := make([]ids.RequestID, len(got.Arranged))
	for i, x := range got.Arranged {
		requests[i] = x.Stay.RequestID
	}
	cases, err := enrollment.ListCasesByRequest(ctx, tx, requests)
	if err != nil {
		return n, err
	}
	for _, c := range cases {
		n.cases[c.Request.ID] = c
	}
	trainers, err := roster.ListTrainers(ctx, tx)
	if err != nil {
		return n, err
	}
	for _, t := range trainers {
		n.trainers[t.ID] = t.Code
	}
	areas, err := facility.ListAreas(ctx, tx)
	for _, a := range areas {
		n.areas[a.ID] = a.Code
	}
	return n, err
}

var outcomesToProto = map[Outcome]graduationv1.Arranged_Outcome{Placed: graduationv1.Arranged_OUTCOME_PLACED, Moved: graduationv1.Arranged_OUTCOME_MOVED,
	Kept: graduationv1.Arranged_OUTCOME_KEPT, Missing: graduationv1.Arranged_OUTCOME_MISSING}

func (n arrangedNames) toProto(got Arrangement) *graduationv1.ArrangeHandoversResponse {
	out := &graduationv1.ArrangeHandoversResponse{Cost: int64(got.Cost), Gap: int64(got.Gap), Placed: int32(got.count(Placed)), Moved: int32(got.count(Moved)),
		Kept: int32(got.count(Kept)), Missing: int32(got.count(Missing))}
	for _, x := range got.Arranged {
		c := n.cases[x.Stay.RequestID]
		a := &graduationv1.Arranged{DogCode: c.Dog.Code, DogName: c.Dog.Name, RequestCode: c.Request.Code, Day: x.Day.String(), Outcome: outcomesToProto[x.Outcome],
			Reason: x.Reason, Remedy: x.Remedy, Offers: int32(len(x.Others))}
		if !x.Slot.Begins.IsZero() {
			a.Starts, a.Ends = calendar.ClockIn(x.Slot.Begins, n.zone).String(), calendar.ClockIn(x.Slot.Ends, n.zone).String()
			a.BeginsAt = timestamppb.New(x.Slot.Begins)
			a.TrainerCode, a.OwnTrainer = n.trainers[x.Slot.TrainerID], x.Slot.TrainerID == x.Stay.TrainerID
			a.AreaCode, a.Gate = n.areas[x.Slot.AreaID], x.Slot.Gate
		}
		out.Arranged = append(out.Arranged, a)
	}
	return out
}

// reminderToProto shows when letters go; last is the zero time before their first turn.
func reminderToProto(site facility.Site, r Reminder, last, now time.Time) (*graduationv1.Reminder, error) {
	zone, err := calendar.LoadZone(site.Zone)
	if err != nil {
		return nil, err
	}
	out := &graduationv1.Reminder{SiteCode: site.Code, Zone: site.Zone, Letter: r.Letter, Line: r.Line, Days: int32(r.Days), Usual: r.ChangedAt.IsZero(), ChangedBy: r.ChangedBy}
	next, err := r.next(now, zone)
	if err == nil && !next.IsZero() {
		out.NextAt, out.Next = timestamppb.New(next), calendar.DateIn(next, zone).String()+" "+calendar.ClockIn(next, zone).String()
	}
	if !last.IsZero() {
		out.TurnedAt = timestamppb.New(last)
	}
	return out, err
}
