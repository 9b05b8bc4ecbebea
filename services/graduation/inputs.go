package graduation

import (
	"context"
	"slices"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
)

// inputs is one consistent picture of all that the handovers of a site on some days depend on.
type inputs struct {
	site    facility.Site
	zone    *time.Location
	setting handover.Setting
	days    calendar.Span
	areas   []facility.Area
	closed  []facility.AreaClosure
	// places is how many handovers each day takes.
	places map[calendar.Date]int
	// trainers are all of them, shifts those at the site.
	trainers map[ids.TrainerID]roster.Trainer
	shifts   map[calendar.Date][]roster.TrainerDay
	// held is what trainers do by the plans of days that are planned, and who has one for a day.
	held []held
	// stays are those that end on the days, and cases what is known of their dogs.
	stays []planner.Stay
	cases map[ids.RequestID]enrollment.Case
	times map[ids.RequestID][]OwnerTime
	// ill are the dogs that are isolated on their graduation day.
	ill map[ids.RequestID]bool
	// standing are the appointments at the site on the days, and open the open handovers of the stays, which may be on other days.
	standing []handover.Appointment
	open     map[ids.RequestID]handover.Appointment
}

// held is something that a trainer does on a planned day.
type held struct {
	trainer ids.TrainerID
	dayplan.Held
}

func newInputs(site facility.Site, days calendar.Span) (in inputs, err error) {
	in = inputs{site: site, days: days, trainers: map[ids.TrainerID]roster.Trainer{}, shifts: map[calendar.Date][]roster.TrainerDay{}, places: map[calendar.Date]int{},
		cases: map[ids.RequestID]enrollment.Case{}, times: map[ids.RequestID][]OwnerTime{}, ill: map[ids.RequestID]bool{}, open: map[ids.RequestID]handover.Appointment{}}
	in.zone, err = calendar.LoadZone(site.Zone)
	return in, err
}

// readInputs reads the inputs inside a transaction of the caller, which must be one snapshot.
func readInputs(ctx context.Context, tx postgres.Tx, site facility.Site, days calendar.Span) (inputs, error) {
	in, err := newInputs(site, days)
	if err != nil {
		return in, err
	}
	if in.stays, err = planner.ListGraduations(ctx, tx, site.ID, days); err != nil || len(in.stays) == 0 {
		return in, err
	}
	for _, part := range []func(context.Context, postgres.Tx) error{in.readSite, in.readPeople, in.readDogs, in.readAppointments} {
		if err := part(ctx, tx); err != nil {
			return in, err
		}
	}
	return in, nil
}

// bounds are the instants at which the days begin and end.
func (in *inputs) bounds() (from, to time.Time, err error) {
	if from, _, err = calendar.DayBounds(in.days.From, in.zone); err != nil {
		return from, to, err
	}
	to, _, err = calendar.DayBounds(in.days.To, in.zone)
	return from, to, err
}

func (in *inputs) readSite(ctx context.Context, tx postgres.Tx) (err error) {
	if in.setting, err = handover.ReadSetting(ctx, tx, in.site.ID); err != nil {
		return err
	}
	if in.areas, err = facility.ListAreas(ctx, tx); err != nil {
		return err
	}
	in.areas = slices.DeleteFunc(in.areas, func(a facility.Area) bool { return a.SiteID != in.site.ID })
	places, err := facility.ListPlaces(ctx, tx, in.days)
	if err != nil {
		return err
	}
	for _, p := range places[in.site.ID] {
		in.places[p.Day] = p.Handover
	}
	from, to, err := in.bounds()
	if err != nil {
		return err
	}
	in.closed, err = facility.ListAreaClosures(ctx, tx, in.site.ID, from, to)
	return err
}

func (in *inputs) readPeople(ctx context.Context, tx postgres.Tx) error {
	trainers, days, err := roster.ListDays(ctx, tx, in.days)
	if err != nil {
		return err
	}
	here := map[ids.TrainerID]bool{}
	for _, d := range days {
		if d.SiteID == in.site.ID {
			in.shifts[d.Day] = append(in.shifts[d.Day], d)
			here[d.TrainerID] = true
		}
	}
	for _, t := range trainers {
		in.trainers[t.ID] = t
		if !here[t.ID] {
			continue
		}
		busy, err := dayplan.ListHeld(ctx, tx, t.ID, in.days)
		if err != nil {
			return err
		}
		for _, h := range busy {
			in.held = append(in.held, held{t.ID, h})
		}
	}
	return nil
}

func (in *inputs) readDogs(ctx context.Context, tx postgres.Tx) error {
	cases, err := enrollment.ListCasesByRequest(ctx, tx, in.requests())
	if err != nil {
		return err
	}
	for _, c := range cases {
		in.cases[c.Request.ID] = c
	}
	times, err := listOwnerTimes(ctx, tx, in.requests())
	if err != nil {
		return err
	}
	for _, t := range times {
		in.times[t.RequestID] = append(in.times[t.RequestID], t)
	}
	for _, day := range in.graduationDays() {
		isolated, err := planner.IsolatedOn(ctx, tx, in.site.ID, day)
		if err != nil {
			return err
		}
		for _, i := range isolated {
			in.ill[i.RequestID] = in.ill[i.RequestID] || in.endsOn(i.RequestID, day)
		}
	}
	return nil
}

// endsOn reports whether the stay of a request ends on a day.
func (in *inputs) endsOn(request ids.RequestID, day calendar.Date) bool {
	return slices.ContainsFunc(in.stays, func(s planner.Stay) bool { return s.RequestID == request && s.Nights.To == day })
}

func (in *inputs) requests() []ids.RequestID {
	out := make([]ids.RequestID, len(in.stays))
	for i, s := range in.stays {
		out[i] = s.RequestID
	}
	return out
}

func (in *inputs) readAppointments(ctx context.Context, tx postgres.Tx) error {
	from, to, err := in.bounds()
	if err != nil {
		return err
	}
	if in.standing, err = handover.ListLive(ctx, tx, in.site.ID, from, to); err != nil {
		return err
	}
	all, err := handover.ListOf(ctx, tx, in.requests())
	for _, a := range all {
		if a.Purpose == handover.PurposeHandover && a.State.Open() {
			in.open[a.RequestID] = a
		}
	}
	return err
}
