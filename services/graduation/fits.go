package graduation

import (
	"context"
	"slices"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/postgres"
)

// Fits refuses a time that an owner chooses at which the trainer is not at work, at which a dog that arrives passes the same gate, or for which the
// day has no handover place left. It is what handover.BookDeps.Fits asks for.
func Fits(ctx context.Context, tx postgres.Tx, chosen handover.Appointment) error {
	gone := apperr.Conflictf("TIME_GONE", "This time is not free any more: choose another one.")
	sites, err := facility.ListSites(ctx, tx)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(sites, func(s facility.Site) bool { return s.ID == chosen.SiteID })
	if at < 0 {
		return gone
	}
	zone, err := calendar.LoadZone(sites[at].Zone)
	if err != nil {
		return err
	}
	day := calendar.DateIn(chosen.Begins, zone)
	in, err := newInputs(sites[at], calendar.Span{From: day, To: day.AddDays(1)})
	if err != nil {
		return err
	}
	for _, part := range []func(context.Context, postgres.Tx) error{in.readSite, in.readPeople, in.readAppointments} {
		if err := part(ctx, tx); err != nil {
			return err
		}
	}
	t, err := in.buildDay(day, false)
	if err != nil {
		return err
	}
	if !t.atWork(chosen) || in.meetsArrival(chosen) || chosen.Purpose == handover.PurposeHandover && in.taken(chosen) >= in.places[day] {
		return gone
	}
	return nil
}

// taken is how many handovers the day has beside one.
func (in *inputs) taken(but handover.Appointment) (n int) {
	for _, a := range in.standing {
		if a.ID != but.ID && a.Purpose == handover.PurposeHandover {
			n++
		}
	}
	return n
}

// meetsArrival reports whether a dog that arrives comes or goes at an appointment's gate within the minutes that lie between two. Owners who bring
// a dog come through the first gate.
func (in *inputs) meetsArrival(a handover.Appointment) bool {
	if a.Gate != in.setting.Gates[0] {
		return false
	}
	apart := time.Duration(in.setting.GateMinutes) * time.Minute
	return slices.ContainsFunc(in.held, func(h held) bool {
		return h.Kind == dayplan.KindIntake && h.SiteID == in.site.ID && (h.From.Sub(a.Begins).Abs() < apart || h.To.Sub(a.Ends).Abs() < apart)
	})
}
