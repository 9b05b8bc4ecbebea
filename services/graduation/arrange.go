package graduation

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/slots"
)

const (
	// offers is how many other times an owner may choose among.
	offers = 3
	// dayLimit is how long the times of one day are searched for.
	dayLimit = 2 * time.Second
)

// Arranged is a graduating dog and what became of its handover.
type Arranged struct {
	Stay    planner.Stay
	Day     calendar.Date
	Outcome Outcome
	// Slot is its time; the zero value where there is none.
	Slot handover.Slot
	// Others are other times that its owner may choose.
	Others []handover.Slot
	// Reason and Remedy say why there is none, and what would help.
	Reason, Remedy string
	// before is its open appointment, if it has one.
	before *handover.Appointment
}

// Arrangement is the handovers of a site on some days.
type Arrangement struct {
	Arranged []Arranged
	// Cost is the points that the times cost, and Gap those by which better ones could cost less at most.
	Cost, Gap int
}

// count is how many have an outcome.
func (a *Arrangement) count(o Outcome) (n int) {
	for _, x := range a.Arranged {
		if x.Outcome == o {
			n++
		}
	}
	return n
}

// Arranger finds times for handovers and places them.
type Arranger struct {
	Pool *postgres.Pool
	Book *handover.Book
	Now  func() time.Time
}

// Arrange finds a time for the handover of each dog that graduates at a site on some days, and places those that are new. With preview nothing
// is placed. Days before today are left alone.
func (r Arranger) Arrange(ctx context.Context, site facility.Site, days calendar.Span, by string, preview bool) (Arrangement, error) {
	var in inputs
	zone, err := calendar.LoadZone(site.Zone)
	if err != nil {
		return Arrangement{}, err
	}
	if today := calendar.DateIn(r.Now(), zone); days.From.Before(today) {
		days.From = today
	}
	if days.IsEmpty() {
		return Arrangement{}, nil
	}
	err = postgres.ReadTx(ctx, r.Pool, func(tx postgres.Tx) error {
		in, err = readInputs(ctx, tx, site, days)
		return err
	})
	if err != nil {
		return Arrangement{}, err
	}
	out, err := in.arrange(ctx, r.Now())
	if err != nil || preview {
		return out, err
	}
	for i := range out.Arranged {
		if err := r.place(ctx, &in, &out.Arranged[i], by); err != nil {
			return out, err
		}
	}
	return out, r.noteMissing(ctx, &in, out)
}

// arrange solves each day by itself: a handover is on its stay's graduation day, so days share nothing.
func (in *inputs) arrange(ctx context.Context, now time.Time) (Arrangement, error) {
	var out Arrangement
	for _, day := range in.graduationDays() {
		if err := in.arrangeDay(ctx, day, now, &out); err != nil {
			return out, err
		}
	}
	return out, nil
}

func (in *inputs) arrangeDay(ctx context.Context, day calendar.Date, now time.Time, out *Arrangement) error {
	t, plan, err := in.solveDay(ctx, day, now, true)
	if err == nil && len(plan.Missing) > 0 && in.planned(day) {
		// The day is planned, and its blocks leave no room: people see to owners first, and the plan follows.
		t, plan, err = in.solveDay(ctx, day, now, false)
	}
	if err != nil {
		return fmt.Errorf("find handover times of %s on %s: %w", in.site.Code, day, err)
	}
	out.Cost += t.p.Worth() - plan.Value
	out.Gap += plan.Bound - plan.Value
	for _, s := range t.kept {
		a := in.open[s.RequestID]
		x := Arranged{Stay: s, Day: day, Outcome: Kept, Slot: a.Slot, before: &a}
		if in.ill[s.RequestID] {
			x.Reason, x.Remedy = illReason, illRemedy
		}
		out.Arranged = append(out.Arranged, x)
	}
	for _, s := range t.ill {
		out.Arranged = append(out.Arranged, Arranged{Stay: s, Day: day, Outcome: Missing, Reason: illReason, Remedy: illRemedy})
	}
	for i, s := range t.stays {
		x := Arranged{Stay: s, Day: day, Outcome: Placed}
		if a, has := in.open[s.RequestID]; has {
			x.before, x.Outcome = &a, Moved
		}
		if plan.Slots[i] == slots.None {
			x.Outcome = Missing
			out.Arranged = append(out.Arranged, x)
			continue
		}
		x.Slot = t.slot(i, plan.Slots[i])
		if x.before != nil && x.before.Slot == x.Slot {
			x.Outcome = Kept
		}
		others, err := slots.Alternatives(&t.p, plan, i, offers)
		if err != nil {
			return fmt.Errorf("find other times for a handover: %w", err)
		}
		for _, o := range others {
			x.Others = append(x.Others, t.slot(i, o))
		}
		out.Arranged = append(out.Arranged, x)
	}
	if err := t.explain(plan, out.Arranged); err != nil {
		return err
	}
	slices.SortStableFunc(out.Arranged, func(a, b Arranged) int {
		return cmp.Or(a.Day.Compare(b.Day), a.Slot.Begins.Compare(b.Slot.Begins), a.Stay.RequestID.Compare(b.Stay.RequestID))
	})
	return nil
}

// What is said of a dog that is isolated on its graduation day.
const (
	illReason = "it is isolated on that day"
	illRemedy = "the word of a veterinarian on when it may go home, and until then another graduation day, by `longlead mend extend`"
)

// solveDay finds the times of one day and has them recounted. On the day itself only what is still to come counts.
func (in *inputs) solveDay(ctx context.Context, day calendar.Date, now time.Time, plans bool) (*dayTask, *slots.Plan, error) {
	t, err := in.buildDay(day, plans)
	if err != nil {
		return nil, nil, err
	}
	if from := t.minute(now); from > 0 {
		t.p.Days[0].Open.From = min(max(t.p.Days[0].Open.From, from), t.p.Days[0].Open.To)
	}
	plan, err := slots.Solve(&t.p, slots.Options{Limit: dayLimit, Cancel: ctx.Done()})
	if err != nil {
		return nil, nil, err
	}
	value, err := slots.Check(&t.p, plan)
	if err == nil && value != plan.Value {
		err = fmt.Errorf("recounted as worth %d, not %d", value, plan.Value)
	}
	return t, plan, err
}

// planned reports whether anybody does anything on a day by a plan.
func (in *inputs) planned(day calendar.Date) bool {
	return slices.ContainsFunc(in.held, func(h held) bool { return h.Day == day })
}

// place places what is new, in a transaction of its own, unless the stay has changed since it was read. Somebody who took the time meanwhile
// leaves the dog without one until the next look.
func (r Arranger) place(ctx context.Context, in *inputs, x *Arranged, by string) error {
	restay := x.Outcome == Kept && x.before.StayID != x.Stay.ID
	if x.Outcome != Placed && x.Outcome != Moved && !restay {
		return nil
	}
	c := in.cases[x.Stay.RequestID]
	p := handover.Placing{StayID: x.Stay.ID, RequestID: x.Stay.RequestID, DogID: c.Dog.ID, OwnerID: c.Dog.OwnerID, SiteID: x.Stay.SiteID, Slot: x.Slot, Others: x.Others,
		By: by, Why: x.why(in.zone)}
	p.NotReady = x.laterThan(in.zone)
	err := postgres.InTx(ctx, r.Pool, func(tx postgres.Tx) error {
		live, err := planner.LiveStays(ctx, tx, []ids.RequestID{x.Stay.RequestID})
		if err != nil {
			return err
		}
		if now, ok := live[x.Stay.RequestID]; !ok || now.ID != x.Stay.ID {
			return apperr.Conflictf("STAY_CHANGED", "the stay has changed meanwhile: look again")
		}
		_, err = r.Book.Place(ctx, tx, p)
		return err
	})
	if known, ok := apperr.From(err); ok && known.Kind == apperr.Conflict {
		x.Outcome, x.Reason, x.Remedy, x.Slot = Missing, known.Message, "look again: others were at work at the same time", handover.Slot{}
		return nil
	}
	if err != nil {
		return fmt.Errorf("place the handover of request %s: %w", c.Request.Code, err)
	}
	return nil
}

// laterThan reports whether a dog graduates on a later day than that of its appointment.
func (x *Arranged) laterThan(zone *time.Location) bool {
	return x.before != nil && calendar.DateIn(x.before.Begins, zone).Before(x.Day)
}

// why says to the office, and to the owner, why there is this time.
func (x *Arranged) why(zone *time.Location) string {
	switch {
	case x.before == nil:
		return ""
	case calendar.DateIn(x.before.Begins, zone) != x.Day:
		return fmt.Sprintf("the stay ends on %s now", x.Day)
	}
	return "at the time before, the trainer or the place is taken, or is needed for another dog that graduates on that day"
}

// noteMissing keeps for whom there is no time and why.
func (r Arranger) noteMissing(ctx context.Context, in *inputs, a Arrangement) error {
	var missing []Unplaced
	for _, x := range a.Arranged {
		if x.Outcome == Missing {
			missing = append(missing, Unplaced{RequestID: x.Stay.RequestID, SiteID: x.Stay.SiteID, Day: x.Day, Reason: x.Reason, Remedy: x.Remedy, FoundAt: r.Now().UTC().Truncate(time.Microsecond)})
		}
	}
	err := postgres.InTx(ctx, r.Pool, func(tx postgres.Tx) error { return replaceUnplaced(ctx, tx, in.site.ID, in.days, missing) })
	return errors.Join(err, ctx.Err())
}
