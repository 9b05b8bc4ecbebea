package dayplan

import (
	"context"

	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// readAppointed gives each guest the appointment of its handover on the day. One that an owner missed is none.
func (in *Inputs) readAppointed(ctx context.Context, tx postgres.Tx) error {
	clock, err := newClock(in.Day, in.Site.Zone)
	if err != nil {
		return err
	}
	live, err := handover.ListLive(ctx, tx, in.Site.ID, clock.instant(0), clock.instant(clock.minutes))
	if err != nil {
		return err
	}
	at := make(map[ids.RequestID]handover.Appointment, len(live))
	for _, a := range live {
		if a.Purpose == handover.PurposeHandover {
			at[a.RequestID] = a
		}
	}
	for i := range in.Guests {
		if a, ok := at[in.Guests[i].Stay.RequestID]; ok {
			in.Guests[i].Appointed = &Appointed{TrainerID: a.TrainerID, AreaID: a.AreaID, Gate: a.Gate, From: a.Begins, To: a.Ends}
		}
	}
	if len(at) == 0 {
		return nil
	}
	set, err := handover.ReadSetting(ctx, tx, in.Site.ID)
	in.Gate, in.GateMinutes = set.Gates[0], set.GateMinutes
	return err
}
