package handover

import (
	"context"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// What is counted for a time: the trainer and the dog have no other appointment, the area no more dogs at once than it takes, and at the gate
// no other appointment begins, or ends, within so many minutes. Sessions and breaks of a trainer's day are not looked at here: who chooses
// times knows them, and the day is planned around appointments.

// around is what appointments may be in the way of a time.
type around struct {
	others  []Appointment
	setting Setting
	areas   map[ids.AreaID]AreaRef
}

// readAround reads what may be in the way of slots at a site.
func (k Known) readAround(ctx context.Context, db postgres.DB, site ids.SiteID, dog ids.DogID, slots []Slot) (around, error) {
	r := around{areas: map[ids.AreaID]AreaRef{}}
	if len(slots) == 0 {
		return r, nil
	}
	from, to := slots[0].Begins, slots[0].Ends
	var trainers []ids.TrainerID
	for _, s := range slots {
		trainers = append(trainers, s.TrainerID)
		if s.Begins.Before(from) {
			from = s.Begins
		}
		if s.Ends.After(to) {
			to = s.Ends
		}
	}
	var err error
	if r.setting, err = ReadSetting(ctx, db, site); err != nil {
		return r, err
	}
	wide := time.Duration(r.setting.GateMinutes) * time.Minute
	if r.others, err = listInTheWay(ctx, db, site, dog, trainers, from.Add(-wide), to.Add(wide)); err != nil {
		return r, err
	}
	areas, err := k.Areas(ctx, db)
	for _, a := range areas {
		r.areas[a.ID] = a
	}
	return r, err
}

// clash says what is in the way of an appointment; nothing when it is free.
func (r around) clash(a Appointment) string {
	sharing := 1
	for _, o := range r.others {
		if o.ID == a.ID || o.State == Missed || !o.State.Live() && o.State != Held {
			continue
		}
		if o.overlaps(a.Slot) {
			switch {
			case o.TrainerID == a.TrainerID:
				return "the trainer has another appointment then"
			case o.DogID == a.DogID:
				return "the dog has another appointment then"
			case o.AreaID == a.AreaID && !a.AreaID.IsZero():
				sharing++
			}
		}
		if o.SiteID == a.SiteID && o.Gate == a.Gate && (within(o.Begins, a.Begins, r.setting.GateMinutes) || within(o.Ends, a.Ends, r.setting.GateMinutes)) {
			return fmt.Sprintf("another appointment begins or ends at the %s within %d minutes", a.Gate, r.setting.GateMinutes)
		}
	}
	if area, known := r.areas[a.AreaID]; known && sharing > area.DogsAtOnce {
		return fmt.Sprintf("%s is taken then", area.Code)
	}
	return ""
}

// within reports whether two instants are less than some minutes apart.
func within(a, b time.Time, minutes int) bool {
	return a.Sub(b).Abs() < time.Duration(minutes)*time.Minute
}

// free checks the time of an appointment under the lock of its site.
func (b *Book) free(ctx context.Context, tx postgres.Tx, a Appointment) error {
	r, err := b.deps.Known.readAround(ctx, tx, a.SiteID, a.DogID, []Slot{a.Slot})
	if err != nil {
		return err
	}
	if why := r.clash(a); why != "" {
		return errTaken(why)
	}
	return nil
}

func errTaken(why string) error {
	return apperr.Conflictf("TIME_TAKEN", "This time is not free (%s): choose another one.", why)
}

// FreeOffers returns the times that the owner of an appointment may choose now: those to come that nothing is in the way of.
func (b *Book) FreeOffers(ctx context.Context, db postgres.DB, a Appointment) ([]Offer, error) {
	offers, err := ListOffers(ctx, db, a.ID)
	if err != nil {
		return nil, err
	}
	slots := make([]Slot, len(offers))
	for i, o := range offers {
		slots[i] = o.Slot
	}
	r, err := b.deps.Known.readAround(ctx, db, a.SiteID, a.DogID, slots)
	if err != nil {
		return nil, err
	}
	var left []Offer
	for _, o := range offers {
		chosen := a
		chosen.Slot = o.Slot
		if o.Begins.After(b.now()) && r.clash(chosen) == "" {
			left = append(left, o)
		}
	}
	return left, nil
}
