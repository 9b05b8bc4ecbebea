package planner

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

func (x Extensions) toProto() *plannerv1.PreviewExtensionResponse {
	out := &plannerv1.PreviewExtensionResponse{Stay: x.m.stayToProto(x.m.stay), DogCode: x.m.c.Dog.Code, DogName: x.m.c.Dog.Name}
	for _, e := range x.Choices {
		out.Choices = append(out.Choices, e.toProto())
	}
	for _, r := range x.Refused {
		out.Refused = append(out.Refused, &plannerv1.RefusedDays{FirstDay: r.First, LastDay: r.Last, Reason: r.Reason, Remedy: r.Remedy})
	}
	return out
}

func (e Extension) toProto() *plannerv1.Extension {
	out := &plannerv1.Extension{Graduation: e.Graduation.String(), AddedNights: int32(e.AddedNights), RunMoves: movesToProto(e.Moves),
		OverMinutesTotal: int32(e.overTotal()), HandoverPlaces: int32(e.Places), Handovers: int32(e.Handovers), Notes: e.Notes, Fingerprint: e.Fingerprint}
	for _, o := range e.Over {
		out.OverMinutes = append(out.OverMinutes, &plannerv1.OverMinutes{Day: o.Day.String(), TrainerCode: o.Trainer, Minutes: int32(o.Minutes)})
	}
	return out
}

func movesToProto(moves []RunMove) (out []*plannerv1.RunMove) {
	for _, m := range moves {
		out = append(out, &plannerv1.RunMove{RequestCode: m.Request, DogCode: m.DogCode, DogName: m.DogName, Arrival: m.Nights.From.String(),
			Graduation: m.Nights.To.String(), FromRun: m.FromRun, ToRun: m.ToRun, OwnerSees: m.OwnerSees})
	}
	return out
}

func (m *mending) stayToProto(s Stay) *plannerv1.Stay {
	return &plannerv1.Stay{Id: s.ID.String(), RequestCode: m.cases[s.RequestID].Request.Code, SiteCode: m.in.Sites[0].Code, RunCode: m.runCode(s.RunID),
		TrainerCode: m.trainerCode(), Arrival: s.Nights.From.String(), Graduation: s.Nights.To.String(), State: s.State}
}

func (n names) stayToProto(s Stay) *plannerv1.Stay {
	return &plannerv1.Stay{Id: s.ID.String(), RequestCode: n.cases[s.RequestID].Request.Code, SiteCode: n.sites[s.SiteID],
		RunCode: n.runs[s.RunID].Code, TrainerCode: n.trainers[s.TrainerID], Arrival: s.Nights.From.String(), Graduation: s.Nights.To.String(), State: s.State}
}

func (n names) historyToProto(changes []stayChange) *plannerv1.ReadStayHistoryResponse {
	out := &plannerv1.ReadStayHistoryResponse{}
	for _, c := range changes {
		entry := &plannerv1.StayChange{ChangedAt: timestamppb.New(c.ChangedAt), ChangedBy: c.ChangedBy, Reason: c.Reason, After: n.stayToProto(c.After)}
		if c.Before != nil {
			entry.Before = n.stayToProto(*c.Before)
		}
		out.Changes = append(out.Changes, entry)
	}
	return out
}

// isolationFromProto reads what is asked for.
func isolationFromProto(code string, ask *plannerv1.IsolationAsk) (isolationAsk, error) {
	from, err := rpc.Day("isolation.from", ask.GetFrom())
	return isolationAsk{code: code, suspected: ask.GetSuspected(), run: ask.GetRunCode(), from: from, days: int(ask.GetDays()),
		holdDays: int(ask.GetHoldDays()), scope: ask.GetHoldScope(), moveRuns: ask.GetMoveRuns()}, err
}

// healthRulesNote says where the default days are from.
const healthRulesNote = "isolation 14 days and incubation of up to 7 days, about 14 for distemper: UF, Shelter Animal Physical Health, Module 4; intake hold: common practice, no source"

func (p *IsolationPlan) toProto() *plannerv1.IsolationPlan {
	m := p.m
	out := &plannerv1.IsolationPlan{Stay: m.stayToProto(m.stay), DogCode: m.c.Dog.Code, DogName: m.c.Dog.Name, RunCode: p.RunCode, From: p.Days.From.String(),
		OutOn: p.Days.To.String(), Suspected: p.Suspected, HoldRow: p.Hold.Row, HoldFrom: p.Hold.Days.From.String(), HoldUntil: p.Hold.Days.To.String(),
		RunMoves: movesToProto(p.Moves), Notes: p.Notes, RulesNote: p.rules.Note, Fingerprint: p.Fingerprint}
	if out.RulesNote == "" {
		out.RulesNote = healthRulesNote
	}
	for _, c := range p.Watch {
		out.Watch = append(out.Watch, &plannerv1.Contact{DogCode: c.DogCode, DogName: c.DogName, RunCode: c.RunCode, Because: c.Because,
			WatchedFrom: c.Days.From.String(), WatchedUntil: c.Days.To.String(), Graduation: c.Leaves.String()})
	}
	for _, a := range p.Arrivals {
		held := &plannerv1.HeldArrival{RequestCode: a.Request, DogCode: a.DogCode, DogName: a.DogName, Arrival: a.Arrival.String(), RunCode: a.RunCode, State: a.State}
		if a.Other != nil {
			held.OtherRun = movesToProto([]RunMove{*a.Other})[0]
		}
		for _, day := range a.Later {
			held.LaterArrivals = append(held.LaterArrivals, day.String())
		}
		out.Arrivals = append(out.Arrivals, held)
	}
	for _, e := range p.later {
		out.LaterGraduations = append(out.LaterGraduations, e.toProto())
	}
	return out
}

func (w *ward) toProto() *plannerv1.ListIsolationsResponse {
	out := &plannerv1.ListIsolationsResponse{}
	for _, i := range w.isolated {
		dog := w.names.cases[i.RequestID].Dog
		out.Isolated = append(out.Isolated, &plannerv1.IsolatedDog{DogCode: dog.Code, DogName: dog.Name, RunCode: w.names.runs[i.RunID].Code, From: i.Days.From.String(),
			OutOn: i.Days.To.String(), Suspected: i.Suspected, Reason: i.Reason, MadeBy: i.MadeBy, MadeAt: timestamppb.New(i.MadeAt)})
	}
	for _, x := range w.watched {
		dog, stay := w.names.cases[x.RequestID].Dog, w.stays[x.RequestID]
		out.Watched = append(out.Watched, &plannerv1.Contact{DogCode: dog.Code, DogName: dog.Name, RunCode: w.names.runs[stay.RunID].Code, Because: x.Because,
			WatchedFrom: x.Days.From.String(), WatchedUntil: x.Days.To.String(), Graduation: stay.Nights.To.String()})
	}
	for _, h := range w.holds {
		out.Holds = append(out.Holds, &plannerv1.IntakeHold{Row: h.Row, From: h.Days.From.String(), Until: h.Days.To.String(), DogCode: w.names.cases[w.because[h.IsolationID]].Dog.Code})
	}
	return out
}
