package graduation

import (
	"context"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
)

// follower is who changes appointments that their stays have left behind.
const follower = "stay changes"

// follow cancels appointments to come at a site whose dogs have no stay any more, or one at another site. Those whose stay ends on another
// day are moved by Arrange, which finds them without an appointment on it.
func (r Arranger) follow(ctx context.Context, site facility.Site) error {
	now := r.Now()
	var lost []handover.Appointment
	err := postgres.ReadTx(ctx, r.Pool, func(tx postgres.Tx) (err error) {
		lost, err = listLost(ctx, tx, site, now)
		return err
	})
	if err != nil {
		return err
	}
	for _, a := range lost {
		err := postgres.InTx(ctx, r.Pool, func(tx postgres.Tx) error {
			gone, why, err := leftBehind(ctx, tx, a)
			if err != nil || !gone {
				return err
			}
			_, err = r.Book.Cancel(ctx, tx, a.ID, handover.Word{By: follower, Why: why, Revision: a.Revision})
			return err
		})
		if known, ok := apperr.From(err); ok && known.Kind == apperr.Conflict {
			continue // somebody is at work on it: the next look sees what came of it
		}
		if err != nil {
			return fmt.Errorf("cancel appointment %s: %w", a.ID, err)
		}
	}
	return nil
}

// ahead is how far ahead handovers are looked after.
const ahead = 400

// listLost lists the handovers to come whose stay is not what it was.
func listLost(ctx context.Context, tx postgres.Tx, site facility.Site, now time.Time) (lost []handover.Appointment, err error) {
	live, err := handover.ListLive(ctx, tx, site.ID, now, now.AddDate(0, 0, ahead))
	if err != nil || len(live) == 0 {
		return nil, err
	}
	var requests []ids.RequestID
	for _, a := range live {
		requests = append(requests, a.RequestID)
	}
	stays, err := planner.LiveStays(ctx, tx, requests)
	for _, a := range live {
		if s, ok := stays[a.RequestID]; a.Purpose == handover.PurposeHandover && (!ok || s.SiteID != a.SiteID || s.State == planner.StayGoneHome) {
			lost = append(lost, a)
		}
	}
	return lost, err
}

// leftBehind looks again inside the transaction of the change.
func leftBehind(ctx context.Context, tx postgres.Tx, a handover.Appointment) (gone bool, why string, err error) {
	stays, err := planner.LiveStays(ctx, tx, []ids.RequestID{a.RequestID})
	if err != nil {
		return false, "", err
	}
	switch s, ok := stays[a.RequestID]; {
	case !ok:
		return true, "the stay was cancelled", nil
	case s.SiteID != a.SiteID:
		return true, "the stay is at another site now", nil
	case s.State == planner.StayGoneHome:
		return true, "the dog has gone home", nil
	}
	return false, "", nil
}

// unarranged returns the days from today on which dogs graduate at a site for whom there is no appointment that stands, those left aside for
// whom none was found lately.
func (r Arranger) unarranged(ctx context.Context, site facility.Site, zone *time.Location) (days []calendar.Date, err error) {
	now := r.Now()
	today := calendar.DateIn(now, zone)
	err = postgres.ReadTx(ctx, r.Pool, func(tx postgres.Tx) error {
		days = nil
		stays, err := planner.ListGraduations(ctx, tx, site.ID, calendar.Span{From: today, To: today.AddDays(ahead)})
		if err != nil || len(stays) == 0 {
			return err
		}
		requests := make([]ids.RequestID, len(stays))
		for i, s := range stays {
			requests[i] = s.RequestID
		}
		all, err := handover.ListOf(ctx, tx, requests)
		if err != nil {
			return err
		}
		unplaced, err := listUnplaced(ctx, tx, site.ID)
		if err != nil {
			return err
		}
		days = daysToArrange(stays, all, unplaced, zone, now)
		return nil
	})
	return days, err
}

// retryAfter is how long after no time was found it is looked for again by itself.
const retryAfter = 30 * time.Minute

// daysToArrange are the graduation days on which something is to be arranged, in order.
func daysToArrange(stays []planner.Stay, all []handover.Appointment, unplaced []Unplaced, zone *time.Location, now time.Time) (days []calendar.Date) {
	settled := map[ids.RequestID]bool{}
	lately := map[ids.RequestID]calendar.Date{}
	for _, u := range unplaced {
		if u.FoundAt.Add(retryAfter).After(now) {
			lately[u.RequestID] = u.Day
		}
	}
	on := map[ids.RequestID]planner.Stay{}
	for _, s := range stays {
		on[s.RequestID] = s
	}
	for _, a := range all {
		s := on[a.RequestID]
		if a.Purpose != handover.PurposeHandover {
			continue
		}
		switch day := calendar.DateIn(a.Begins, zone); {
		case a.State == handover.Held:
			settled[a.RequestID] = true
		case a.State.Open() && a.StayID == s.ID && day == s.Nights.To:
			settled[a.RequestID] = true
		case a.State == handover.Missed, a.State == handover.Asked && a.StayID == s.ID:
			settled[a.RequestID] = true // the office is at work on it, and has offered other times
		}
	}
	for _, s := range stays {
		if day, tried := lately[s.RequestID]; settled[s.RequestID] || tried && day == s.Nights.To {
			continue
		}
		if n := len(days); n == 0 || days[n-1] != s.Nights.To {
			days = append(days, s.Nights.To)
		}
	}
	return days
}
