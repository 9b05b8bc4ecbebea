package dayplan

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// CoverAbsence plans a day anew with a trainer gone.
func (s *Server) CoverAbsence(ctx context.Context, req *dayplanv1.CoverAbsenceRequest) (*dayplanv1.CoverAbsenceResponse, error) {
	who := s.author(ctx)
	from, err := clockFromProto("from", req.GetFrom())
	if err != nil {
		return nil, err
	}
	var trainer roster.Trainer
	got, err := s.read(ctx, "", req.GetDay(), func(ctx context.Context, tx postgres.Tx, day calendar.Date) (site facility.Site, err error) {
		trainer, site, err = siteOf(ctx, tx, req.GetTrainerCode(), day)
		return site, err
	})
	if err != nil {
		return nil, err
	}
	t, err := s.tryGone(ctx, got, trainer, from, "", nil)
	if err != nil {
		return nil, err
	}
	print := req.GetFingerprint()
	switch {
	case !req.GetKeep():
		print, err = s.look(ctx, t)
	case print != "":
		err = s.accept(ctx, t, print)
	default:
		t.repair, err = t.got.repair(ctx, t.clock, t.redo)
	}
	if err == nil && req.GetKeep() {
		err = s.keepTrial(ctx, t, who)
	}
	if err != nil {
		return nil, err
	}
	out, err := t.got.repairToProto(&t.repair, t.changed)
	if err != nil {
		return nil, err
	}
	return &dayplanv1.CoverAbsenceResponse{SiteCode: out.SiteCode, Differences: out.Differences, Covered: int32(t.repair.count(DiffCovered)), Moved: out.Moved,
		Dropped: out.Dropped, WithOthers: out.WithOthers, Points: out.Points, Gap: out.Gap, Seconds: out.Seconds, Notes: out.Notes, Plan: out.Plan, Fingerprint: print}, nil
}

// tryGone lays out a day with a trainer gone from a time on.
func (s *Server) tryGone(ctx context.Context, got snapshot, trainer roster.Trainer, from calendar.Clock, about string, record recording) (*trial, error) {
	clock, err := newClock(got.in.Day, got.in.Site.Zone)
	if err != nil {
		return nil, err
	}
	since, err := clock.at(from)
	if err != nil {
		return nil, err
	}
	return s.try(ctx, got, clock, &anew{trainer: trainer, since: roundUp(since)}, about, record)
}

// CloseArea records that an area is out of use and plans the rest of the day by it.
func (s *Server) CloseArea(ctx context.Context, req *dayplanv1.CloseAreaRequest) (*dayplanv1.CloseAreaResponse, error) {
	repair, err := s.change(ctx, req, func(ctx context.Context, tx postgres.Tx, site facility.Site, clock dayClock) error {
		area, err := facility.FindArea(ctx, tx, site, req.GetAreaCode())
		if err != nil {
			return err
		}
		from, err := clock.atText("from", req.GetFrom(), 0)
		if err != nil {
			return err
		}
		to, err := clock.atText("to", req.GetTo(), clock.minutes)
		if err != nil {
			return err
		}
		if to <= from {
			return apperr.InvalidField("to", "is not after the start", "write when the area opens again, or leave it out for the rest of the day")
		}
		return facility.PutAreaClosures(ctx, tx, []facility.AreaClosure{{ID: ids.ClosureID(s.deps.Mint()), AreaID: area.ID, From: clock.instant(from),
			To: clock.instant(to), Reason: req.GetReason()}})
	})
	return &dayplanv1.CloseAreaResponse{Repair: repair}, err
}

// EnterForecast records the weather of some hours and plans the rest of the day by it.
func (s *Server) EnterForecast(ctx context.Context, req *dayplanv1.EnterForecastRequest) (*dayplanv1.EnterForecastResponse, error) {
	repair, err := s.change(ctx, req, func(ctx context.Context, tx postgres.Tx, site facility.Site, clock dayClock) error {
		hours := make([]facility.ForecastHour, len(req.GetHours()))
		seen := map[calendar.Clock]bool{}
		for i, h := range req.GetHours() {
			local, err := calendar.ParseClock(h.GetHour())
			if err != nil || seen[local] {
				return apperr.InvalidField("hours", fmt.Sprintf("%q is no time of day, or comes twice", h.GetHour()), "write each hour once, such as 14:00")
			}
			seen[local] = true
			at, err := calendar.At(clock.day, local, clock.zone)
			if err != nil {
				return apperr.InvalidField("hours", err.Error(), "leave out what clocks skip")
			}
			hours[i] = facility.ForecastHour{SiteID: site.ID, Hour: at, TemperatureTenths: int(h.GetTemperatureTenths()), Unit: h.GetUnit(),
				Humidity: int(h.GetHumidity()), Source: req.GetSource()}
			if fault := hours[i].Check(clock.zone); fault != nil {
				return apperr.InvalidField("hours", fmt.Sprintf("%s: the %s %s", h.GetHour(), fault.Field, fault.Rule), fault.Remedy)
			}
		}
		return facility.PutForecast(ctx, tx, hours)
	})
	return &dayplanv1.EnterForecastResponse{Repair: repair}, err
}

// asked is what the calls about conditions of a day have in common.
type asked interface {
	GetSiteCode() string
	GetDay() string
	GetSince() string
	GetPreview() bool
	GetFingerprint() string
}

// change records a condition of a day that has a plan, plans the rest of the day by it and keeps that. Without a preview that somebody has
// looked at the record stays when the planning fails, and the plan shows as stale then: a caution must not be lost.
func (s *Server) change(ctx context.Context, req asked, record func(context.Context, postgres.Tx, facility.Site, dayClock) error) (*dayplanv1.Repair, error) {
	who := s.author(ctx)
	got, err := s.read(ctx, req.GetSiteCode(), req.GetDay(), nil)
	if err != nil {
		return nil, err
	}
	clock, err := newClock(got.in.Day, got.in.Site.Zone)
	if err != nil {
		return nil, err
	}
	minute, err := clock.atText("since", req.GetSince(), max(0, clock.minuteUp(who.at)))
	if err != nil {
		return nil, err
	}
	if err := got.refuseUnplanned(); err != nil {
		return nil, err
	}
	if minute >= clock.minutes {
		return nil, apperr.Preconditionf("DAY_OVER", "%s is over at %s: nothing of it can be planned anew", got.in.Day, got.in.Site.Code)
	}
	redo := &anew{since: roundUp(minute)}
	t, err := s.try(ctx, got, clock, redo, "", func(ctx context.Context, tx postgres.Tx) error { return record(ctx, tx, got.in.Site, clock) })
	if err != nil {
		return nil, err
	}
	print := req.GetFingerprint()
	switch {
	case req.GetPreview():
		print, err = s.look(ctx, t)
	case print != "":
		if err = s.accept(ctx, t, print); err == nil {
			err = s.keepTrial(ctx, t, who)
		}
	default:
		if err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error { return t.record(ctx, tx) }); err == nil {
			err = s.keepRecorded(ctx, req, t, who)
		}
	}
	if err != nil {
		return nil, err
	}
	out, err := t.got.repairToProto(&t.repair, t.changed)
	if err == nil {
		out.Since, out.Fingerprint = clock.local(clock.instant(redo.since)), print
	}
	return out, err
}

// keepRecorded plans the rest of a day by what has been recorded, and keeps it.
func (s *Server) keepRecorded(ctx context.Context, req asked, t *trial, who author) (err error) {
	if t.got, err = s.read(ctx, req.GetSiteCode(), req.GetDay(), nil); err != nil {
		return err
	}
	if t.repair, err = t.got.repair(ctx, t.clock, t.redo); err == nil {
		t.repair.Plan, err = s.keep(ctx, t.repair.Plan, t.got, who)
	}
	return err
}

// refuseUnplanned refuses to repair a day without a plan.
func (got *snapshot) refuseUnplanned() error {
	if got.kept {
		return nil
	}
	return apperr.Preconditionf("DAY_NOT_PLANNED", "%s has no plan for %s that could be repaired, so nothing was changed: `longlead day plan --site %s --date %s` makes one. "+
		"What is to count there can be recorded before: absences, area-closures and forecast are lists that `longlead import` takes",
		got.in.Site.Code, got.in.Day, got.in.Site.Code, got.in.Day)
}

// stale reports whether what the plan was made from has changed since.
func (got *snapshot) stale() (bool, error) {
	print, err := got.in.Fingerprint()
	return print != got.before.Fingerprint, err
}

// repair plans the rest of the day.
func (got *snapshot) repair(ctx context.Context, clock dayClock, redo *anew) (Repair, error) {
	t, err := buildTask(got.in, redo)
	if err != nil {
		return Repair{}, err
	}
	plan, err := t.solve(dayblocks.Options{Seed: usualSeed, Limit: repairLimit, Cancel: ctx.Done()})
	if err != nil {
		return Repair{}, err
	}
	cost, before := int64(t.day.Worth())-plan.Value, worthBefore(t)-got.before.Value
	r := Repair{Plan: plan, Differences: differ(&got.before, &plan, redo.trainer.ID, got.names, clock), Points: cost - before, Gap: plan.Bound - plan.Value,
		WithOthers: plan.withOthers() - got.before.withOthers()}
	return r, nil
}

// worthBefore is what all sessions of the plan before were worth; what holds the past does not count.
func worthBefore(t *task) int64 {
	day := t.day
	day.Dogs = append([]dayblocks.Dog(nil), t.day.Dogs...)
	for i := range day.Dogs {
		day.Dogs[i].Sessions = append([]dayblocks.Session(nil), day.Dogs[i].Sessions...)
		for j := range day.Dogs[i].Sessions {
			day.Dogs[i].Sessions[j].Extra = 0
		}
	}
	return int64(day.Worth())
}
