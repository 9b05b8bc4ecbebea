package planner

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

func pinToProto(p PinRecord, code, dog, site, trainer string) *plannerv1.Pin {
	out := &plannerv1.Pin{RequestCode: code, DogName: dog, Note: p.Note, MadeBy: p.MadeBy, MadeAt: timestamppb.New(p.MadeAt), EndedBy: p.EndedBy,
		At: &plannerv1.PinAt{SiteCode: site, Arrival: p.Arrival.String(), RunClass: p.RunClass, TrainerCode: trainer}}
	if p.EndedAt != nil {
		out.EndedAt = timestamppb.New(*p.EndedAt)
	}
	return out
}

func (p *previewed) toProto() *plannerv1.PreviewPlacementResponse {
	out := &plannerv1.PreviewPlacementResponse{Placement: p.placed.toProto(), Reason: p.reason, PointsBefore: p.before, PointsAfter: p.after,
		GainLeast: p.gainLeast, GainMost: p.gainMost, Displaced: p.displaced, Moved: p.moved, Gained: p.in}
	for _, s := range p.shifts[:min(len(p.shifts), mostShifts)] {
		out.Shifts = append(out.Shifts, &plannerv1.Shift{RequestCode: s.code, DogName: s.dog, Before: s.before.toProto(), After: s.after.toProto()})
	}
	if p.smallest != nil {
		out.Smallest = &plannerv1.SmallestStep{Points: p.smallest.points, Displaced: p.smallest.displaced, Moved: p.smallest.moved}
	}
	return out
}

func (s *standing) toProto() *plannerv1.PlacedAt {
	if s == nil {
		return nil
	}
	return &plannerv1.PlacedAt{SiteCode: s.site, Arrival: s.arrival.String(), Graduation: s.graduation.String(), RunClass: s.class, TrainerCode: s.trainer}
}
