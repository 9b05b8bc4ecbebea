package handover

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const appointmentColumns = `a.id, a.purpose, a.stay_id, a.request_id, a.dog_id, a.owner_id, a.site_id, a.trainer_id, a.area_id, a.gate, a.begins, a.ends,
	a.state, a.version, a.revision, a.wish, a.late_minutes, a.made_at, a.changed_at`

// liveStates are those in which State.Live, and openStates those in which State.Open.
const (
	liveStates = `('offered', 'confirmed', 'asked', 'late')`
	openStates = `('offered', 'confirmed', 'asked', 'late', 'missed')`
)

// ListLive returns the appointments of a site that are to be held and begin from an instant on and before another, by time.
func ListLive(ctx context.Context, db postgres.DB, site ids.SiteID, from, to time.Time) ([]Appointment, error) {
	return postgres.List[Appointment](ctx, db, "list appointments", `select `+appointmentColumns+` from handover.appointment a
		where a.site_id = $1 and a.begins >= $2 and a.begins < $3 and a.state in `+liveStates+` order by a.begins, a.id`, site, from, to)
}

// ListAll is ListLive with those that were held, missed and cancelled.
func ListAll(ctx context.Context, db postgres.DB, site ids.SiteID, from, to time.Time) ([]Appointment, error) {
	return postgres.List[Appointment](ctx, db, "list all appointments", `select `+appointmentColumns+` from handover.appointment a
		where a.site_id = $1 and a.begins >= $2 and a.begins < $3 order by a.begins, a.id`, site, from, to)
}

// OfStay returns the open handover of a stay, or else the latest one; ok is false when there was none.
func OfStay(ctx context.Context, db postgres.DB, stay ids.StayID) (a Appointment, ok bool, err error) {
	found, err := postgres.List[Appointment](ctx, db, "find the handover of a stay", `select `+appointmentColumns+` from handover.appointment a
		where a.stay_id = $1 and a.purpose = 'handover' order by a.state in `+openStates+` desc, a.made_at desc, a.id desc limit 1`, stay)
	if err != nil || len(found) == 0 {
		return Appointment{}, false, err
	}
	return found[0], true, nil
}

// ListOf returns all appointments of requests, by time: open handovers first, then those that ended, then lessons.
func ListOf(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]Appointment, error) {
	return postgres.List[Appointment](ctx, db, "list the appointments of requests", `select `+appointmentColumns+` from handover.appointment a
		where a.request_id = any($1)
		order by a.purpose, a.state in `+openStates+` desc, case when a.purpose = 'handover' then a.made_at end desc, a.begins, a.id`, requests)
}

// OfRequest is OfStay whichever stay of the request it was placed for.
func OfRequest(ctx context.Context, db postgres.DB, request ids.RequestID) (a Appointment, ok bool, err error) {
	all, err := ListOf(ctx, db, []ids.RequestID{request})
	if err != nil || len(all) == 0 || all[0].Purpose != PurposeHandover {
		return Appointment{}, false, err
	}
	return all[0], true, nil
}

// Find returns an appointment, or NotFound.
func Find(ctx context.Context, db postgres.DB, id ids.AppointmentID) (Appointment, error) {
	return findWith(ctx, db, id, "")
}

func findWith(ctx context.Context, db postgres.DB, id ids.AppointmentID, lock string) (Appointment, error) {
	a, err := postgres.One[Appointment](ctx, db, "find an appointment", `select `+appointmentColumns+` from handover.appointment a where a.id = $1`+lock, id)
	if postgres.NoRows(err) {
		return a, apperr.NotFoundf("APPOINTMENT_UNKNOWN", "there is no appointment %s: `longlead handover list` lists them", id)
	}
	return a, err
}

// lockAppointment is Find that keeps others from changing the appointment until the end of the transaction.
func lockAppointment(ctx context.Context, tx postgres.Tx, id ids.AppointmentID) (Appointment, error) {
	return findWith(ctx, tx, id, ` for update`)
}

// lockForTime locks the appointment's site and then the appointment.
func lockForTime(ctx context.Context, tx postgres.Tx, id ids.AppointmentID) (Appointment, error) {
	a, err := Find(ctx, tx, id)
	if err != nil {
		return a, err
	}
	if err := lockSite(ctx, tx, a.SiteID); err != nil {
		return a, err
	}
	locked, err := lockAppointment(ctx, tx, id)
	if err == nil && locked.SiteID != a.SiteID {
		err = errChanged() // it went to a site that is not locked
	}
	return locked, err
}

// lockSite makes those who take times at a site wait for each other until the end of the transaction.
func lockSite(ctx context.Context, tx postgres.Tx, site ids.SiteID) error {
	if _, err := tx.Exec(ctx, `select pg_advisory_xact_lock(hashtextextended('handover times of ' || $1::text, 0))`, site); err != nil {
		return fmt.Errorf("lock the times of a site: %w", err)
	}
	return nil
}

// findOpen finds the open handover of a request, and locks it.
func findOpen(ctx context.Context, tx postgres.Tx, request ids.RequestID) (a Appointment, ok bool, err error) {
	found, err := postgres.List[Appointment](ctx, tx, "find the open handover of a request", `select `+appointmentColumns+` from handover.appointment a
		where a.request_id = $1 and a.purpose = 'handover' and a.state in `+openStates+` for update`, request)
	if err != nil || len(found) == 0 {
		return Appointment{}, false, err
	}
	return found[0], true, nil
}

// listInTheWay returns the appointments of a span that are at a site or take one of the trainers or the dog.
func listInTheWay(ctx context.Context, db postgres.DB, site ids.SiteID, dog ids.DogID, trainers []ids.TrainerID, from, to time.Time) ([]Appointment, error) {
	return postgres.List[Appointment](ctx, db, "list appointments in the way", `select `+appointmentColumns+` from handover.appointment a
		where a.begins < $5 and a.ends > $4 and a.state in ('offered', 'confirmed', 'asked', 'late', 'held')
		  and (a.site_id = $1 or a.dog_id = $2 or a.trainer_id = any($3)) order by a.begins, a.id`, site, dog, trainers, from, to)
}

func insertAppointment(ctx context.Context, tx postgres.Tx, a Appointment) error {
	_, err := tx.Exec(ctx, `
		insert into handover.appointment (id, purpose, stay_id, request_id, dog_id, owner_id, site_id, trainer_id, area_id, gate, begins, ends,
		  state, version, revision, wish, late_minutes, made_at, changed_at)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)`,
		a.ID, a.Purpose, a.StayID, a.RequestID, a.DogID, a.OwnerID, a.SiteID, a.TrainerID, a.AreaID, a.Gate, a.Begins, a.Ends,
		a.State, a.Version, a.Revision, a.Wish, a.LateMinutes, a.MadeAt, a.ChangedAt)
	return appointmentClash(err)
}

func updateAppointment(ctx context.Context, tx postgres.Tx, a Appointment) error {
	_, err := tx.Exec(ctx, `
		update handover.appointment set stay_id = $2, site_id = $3, trainer_id = $4, area_id = $5, gate = $6, begins = $7, ends = $8,
		  state = $9, version = $10, revision = $11, wish = $12, late_minutes = $13, changed_at = $14 where id = $1`,
		a.ID, a.StayID, a.SiteID, a.TrainerID, a.AreaID, a.Gate, a.Begins, a.Ends, a.State, a.Version, a.Revision, a.Wish, a.LateMinutes, a.ChangedAt)
	return appointmentClash(err)
}

// appointmentClash turns what the constraints of handover.appointment refuse into words.
func appointmentClash(err error) error {
	switch name, _ := postgres.Constraint(err); name {
	case "appointment_trainer_excl":
		return apperr.Conflictf("TIME_TAKEN", "This time is not free (the trainer has another appointment then): choose another one.").Because(err)
	case "appointment_dog_excl":
		return apperr.Conflictf("TIME_TAKEN", "This time is not free (the dog has another appointment then): choose another one.").Because(err)
	case "appointment_stay_open_key", "appointment_request_open_key":
		return apperr.Conflictf("HANDOVER_OPEN", "The stay has an open handover already: move that one.").Because(err)
	case "appointment_times_check":
		return apperr.Invalidf("TIME_LENGTH", "An appointment takes 15 minutes to 3 hours.").Because(err)
	}
	if err != nil {
		return fmt.Errorf("write an appointment: %w", err)
	}
	return nil
}

func insertChange(ctx context.Context, tx postgres.Tx, e Entry) error {
	_, err := tx.Exec(ctx, `
		insert into handover.change (appointment_id, revision, changed_at, changed_by, act, before, after, why) values ($1, $2, $3, $4, $5, $6, $7, $8)`,
		e.AppointmentID, e.Revision, e.ChangedAt, e.ChangedBy, e.Act, e.Before, e.After, e.Why)
	if err != nil {
		return fmt.Errorf("write the history of an appointment: %w", err)
	}
	return nil
}

// ListChanges returns the history of appointments, oldest first.
func ListChanges(ctx context.Context, db postgres.DB, appointments []ids.AppointmentID) ([]Entry, error) {
	return postgres.List[Entry](ctx, db, "list changes of appointments", `
		select c.appointment_id, c.revision, c.changed_at, c.changed_by, c.act, c.before, c.after, c.why
		from handover.change c where c.appointment_id = any($1) order by c.changed_at, c.appointment_id, c.revision`, appointments)
}

// ListOffers returns the other times that the owner of an appointment may choose, by time, whether they are still free or not.
func ListOffers(ctx context.Context, db postgres.DB, id ids.AppointmentID) ([]Offer, error) {
	return postgres.List[Offer](ctx, db, "list offered times", `
		select o.id, o.appointment_id, o.trainer_id, o.area_id, o.gate, o.begins, o.ends from handover.offer o
		where o.appointment_id = $1 and o.state = 'open' order by o.begins, o.trainer_id`, id)
}

// takeOffer ends an offer that was chosen.
func takeOffer(ctx context.Context, tx postgres.Tx, id ids.OfferID, now time.Time) error {
	if _, err := tx.Exec(ctx, `update handover.offer set state = 'taken', ended_at = $2 where id = $1 and state = 'open'`, id, now); err != nil {
		return fmt.Errorf("take an offered time: %w", err)
	}
	return nil
}

// putOffers makes these the open offers of an appointment. Those that stay keep their IDs. Of two at one time with one trainer the first
// counts.
func putOffers(ctx context.Context, tx postgres.Tx, mint ids.Mint, id ids.AppointmentID, wanted []Slot, now time.Time) (changed bool, err error) {
	offers, err := ListOffers(ctx, tx, id)
	if err != nil {
		return false, err
	}
	batch, there := &pgx.Batch{}, []Slot{}
	for _, o := range offers {
		if slices.ContainsFunc(wanted, o.same) {
			there = append(there, o.Slot)
			continue
		}
		batch.Queue(`update handover.offer set state = 'withdrawn', ended_at = $2 where id = $1`, o.ID, now)
	}
	for _, s := range wanted {
		if slices.ContainsFunc(there, func(o Slot) bool { return o.Begins.Equal(s.Begins) && o.TrainerID == s.TrainerID }) {
			continue
		}
		there = append(there, s)
		batch.Queue(`insert into handover.offer (id, appointment_id, trainer_id, area_id, gate, begins, ends, state, made_at) values ($1, $2, $3, $4, $5, $6, $7, 'open', $8)`,
			mint(), id, s.TrainerID, s.AreaID, s.Gate, s.Begins, s.Ends, now)
	}
	if batch.Len() == 0 {
		return false, nil
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return false, fmt.Errorf("write offered times: %w", err)
	}
	return true, nil
}
