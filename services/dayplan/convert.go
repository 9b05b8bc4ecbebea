package dayplan

import (
	"cmp"
	"context"
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// names shows what IDs stand for, also of dogs and trainers that a stored plan names and the day does not know any more.
type names struct {
	trainers map[ids.TrainerID]string
	areas    map[ids.AreaID]string
	skills   map[ids.SkillID]string
	dogs     map[ids.DogID]enrollment.Dog
	// roster is everybody, by code, and away their absences on the day.
	roster []roster.Trainer
	away   []roster.Absence
}

func readNames(ctx context.Context, tx postgres.Tx, in *Inputs, before *Plan) (*names, error) {
	n := &names{trainers: map[ids.TrainerID]string{}, areas: map[ids.AreaID]string{}, skills: map[ids.SkillID]string{}}
	trainers, err := roster.ListTrainers(ctx, tx)
	if err != nil {
		return nil, err
	}
	n.roster = trainers
	for _, t := range trainers {
		n.trainers[t.ID] = t.Code
	}
	if n.away, err = roster.ListAbsences(ctx, tx, calendar.Span{From: in.Day, To: in.Day.AddDays(1)}); err != nil {
		return nil, err
	}
	for _, a := range in.Areas {
		n.areas[a.ID] = a.Code
	}
	for _, s := range in.Skills {
		n.skills[s.ID] = s.Code
	}
	var dogs []ids.DogID
	for _, g := range in.Guests {
		dogs = append(dogs, g.Case.Dog.ID)
	}
	for _, b := range before.Blocks {
		dogs = append(dogs, b.DogID)
	}
	for _, d := range before.Drops {
		dogs = append(dogs, d.DogID)
	}
	for _, d := range before.Duties {
		dogs = append(dogs, d.DogID)
	}
	slices.SortFunc(dogs, ids.DogID.Compare)
	n.dogs, err = enrollment.ListDogsByID(ctx, tx, slices.Compact(dogs))
	return n, err
}

// siteOf finds a trainer, and the site of the shift on a day: as the roster has it, or as the plan has it when the roster knows of the
// absence already.
func siteOf(ctx context.Context, tx postgres.Tx, code string, day calendar.Date) (t roster.Trainer, site facility.Site, err error) {
	if t, err = roster.FindTrainer(ctx, tx, code); err != nil {
		return t, site, err
	}
	_, days, err := roster.ListDays(ctx, tx, calendar.Span{From: day, To: day.AddDays(1)})
	if err != nil {
		return t, site, err
	}
	id, err := siteInPlan(ctx, tx, t.ID, day)
	if err != nil {
		return t, site, err
	}
	for _, d := range days {
		if d.TrainerID == t.ID {
			id = d.SiteID
		}
	}
	sites, err := facility.ListSites(ctx, tx)
	for _, s := range sites {
		if s.ID == id {
			return t, s, err
		}
	}
	if err == nil {
		err = apperr.Preconditionf("NOT_AT_WORK", "%s is not at work on %s: neither the roster nor a plan of that day says so", code, day)
	}
	return t, site, err
}

func clockFromProto(field, text string) (calendar.Clock, error) {
	if text == "" {
		return 0, nil
	}
	c, err := calendar.ParseClock(text)
	if err != nil {
		return 0, apperr.InvalidField(field, err.Error(), "write a local time such as 10:00, or leave it out")
	}
	return c, nil
}

// atText is the minute of a local time in a field; without one it is another.
func (c dayClock) atText(field, text string, without int) (int, error) {
	if text == "" {
		return without, nil
	}
	at, err := clockFromProto(field, text)
	if err != nil {
		return 0, err
	}
	return c.at(at)
}

func (got *snapshot) planToProto(p *Plan) (*dayplanv1.DayPlan, error) {
	clock, err := newClock(p.Day, got.in.Site.Zone)
	if err != nil {
		return nil, err
	}
	out := &dayplanv1.DayPlan{Id: p.ID.String(), SiteCode: got.in.Site.Code, Day: p.Day.String(), Number: int32(p.Number), Zone: got.in.Site.Zone,
		MadeBy: p.MadeBy, Value: p.Value, Bound: p.Bound, GapPercent: allocation.GapPercent(p.Value, p.Bound), Seconds: p.Seconds, Fingerprint: p.Fingerprint,
		Dogs: int32(p.Dogs), Notes: p.Notes}
	if !p.MadeAt.IsZero() {
		out.MadeAt = timestamppb.New(p.MadeAt)
	}
	for _, b := range p.Blocks {
		out.Blocks = append(out.Blocks, &dayplanv1.Block{DogCode: got.names.dogs[b.DogID].Code, DogName: got.names.dogs[b.DogID].Name, Session: int32(b.Session),
			TrainerCode: got.names.trainers[b.TrainerID], OwnTrainer: b.Own, AreaCode: got.names.areas[b.AreaID], SkillCode: got.names.skills[b.SkillID],
			SecondTrainerCode: got.names.trainers[b.SecondID], StartsAt: timestamppb.New(b.From), EndsAt: timestamppb.New(b.To), Starts: clock.local(b.From), Ends: clock.local(b.To)})
	}
	slices.SortFunc(out.Blocks, func(a, b *dayplanv1.Block) int {
		return cmp.Or(a.GetStartsAt().AsTime().Compare(b.GetStartsAt().AsTime()), cmp.Compare(a.GetTrainerCode(), b.GetTrainerCode()))
	})
	for _, x := range p.Pauses {
		out.Rests = append(out.Rests, &dayplanv1.Rest{TrainerCode: got.names.trainers[x.TrainerID], Kind: x.Kind, Starts: clock.local(x.From), Ends: clock.local(x.To)})
	}
	for _, x := range p.Duties {
		out.Duties = append(out.Duties, &dayplanv1.Duty{TrainerCode: got.names.trainers[x.TrainerID], DogCode: got.names.dogs[x.DogID].Code, Kind: x.Kind,
			Starts: clock.local(x.From), Ends: clock.local(x.To)})
	}
	for _, x := range p.Drops {
		out.Drops = append(out.Drops, &dayplanv1.Drop{DogCode: got.names.dogs[x.DogID].Code, DogName: got.names.dogs[x.DogID].Name, Session: int32(x.Session),
			SkillCode: got.names.skills[x.SkillID], Reason: x.Reason, Remedy: x.Remedy})
	}
	slices.SortFunc(out.Drops, func(a, b *dayplanv1.Drop) int {
		return cmp.Or(cmp.Compare(a.GetDogCode(), b.GetDogCode()), cmp.Compare(a.GetSession(), b.GetSession()))
	})
	for _, x := range got.in.Shifts {
		hours, cut, err := clock.span(x.Day.Starts, x.Day.Ends)
		if err != nil {
			return nil, err
		}
		ends := x.Day.Ends.String()
		if cut || hours.To == clock.minutes {
			ends = "24:00"
		}
		out.Shifts = append(out.Shifts, &dayplanv1.Shift{TrainerCode: x.Trainer.Code, Starts: x.Day.Starts.String(), Ends: ends})
	}
	return out, nil
}

var diffKinds = map[string]dayplanv1.Difference_Kind{
	DiffCovered: dayplanv1.Difference_KIND_COVERED, DiffMoved: dayplanv1.Difference_KIND_MOVED, DiffDropped: dayplanv1.Difference_KIND_DROPPED,
	DiffGained: dayplanv1.Difference_KIND_GAINED, DiffDuty: dayplanv1.Difference_KIND_DUTY,
}

// repairToProto shows a repair; changed says that the records had changed before what the repair is about.
func (got *snapshot) repairToProto(r *Repair, changed bool) (*dayplanv1.Repair, error) {
	plan, err := got.planToProto(&r.Plan)
	if err != nil {
		return nil, err
	}
	out := &dayplanv1.Repair{SiteCode: got.in.Site.Code, Moved: int32(r.count(DiffMoved)),
		Dropped: int32(r.count(DiffDropped)), WithOthers: int32(r.WithOthers), Points: r.Points, Gap: r.Gap, Seconds: r.Plan.Seconds, Plan: plan}
	for _, d := range r.Differences {
		dog := got.names.dogs[d.DogID]
		out.Differences = append(out.Differences, &dayplanv1.Difference{Kind: diffKinds[d.Kind], DogCode: dog.Code, DogName: dog.Name, Session: int32(d.Session),
			Before: d.Before, After: d.After, Remedy: d.Remedy})
	}
	if changed {
		out.Notes = append(out.Notes, "The records have changed since the day was planned: some differences may be due to that.")
	}
	for _, note := range r.Plan.Notes {
		if !slices.Contains(got.before.Notes, note) {
			out.Notes = append(out.Notes, note)
		}
	}
	return out, nil
}
