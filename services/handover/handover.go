// Package handover keeps appointments with owners: the handover that ends a stay, in which the owner is shown every skill and handles the
// dog, and lessons that follow it. It chooses no times and writes no mail: who does hands times in (Book.Place) and is told of every change
// in its transaction (BookDeps.Changed). The page on which an owner answers stands behind a private link.
//
// An appointment is in one state, and acts lead from one to another (states.go has the table, and nothing else changes a state):
//
//	act         from                                      to         who
//	placed      -                                         offered    whoever chooses times
//	booked      -                                         confirmed  office, a lesson agreed with the owner
//	moved       offered confirmed asked late missed       offered    office
//	not ready   offered confirmed asked late missed       offered    office, as the dog needs more days
//	chosen      offered confirmed asked missed            confirmed  owner, one of the offered times
//	confirmed   offered asked                             confirmed  owner or office
//	asked       offered confirmed asked                   asked      owner or office, for another time
//	late        offered confirmed asked late              late       office
//	missed      offered confirmed asked late              missed     office, after the begin; the run is kept overnight
//	held        offered confirmed asked late              held       office, after the begin
//	cancelled   offered confirmed asked late missed       cancelled  office
//	offers      offered confirmed asked late missed       as it was  office, other times to choose
//
// Held and cancelled are ends. Version rises with each act of which the owner is told (placed, booked, moved, not ready, chosen, missed,
// cancelled, and offers to an owner who asked or has to choose); it is the SEQUENCE of the calendar entry (RFC 5546 section 2.1.4) and part
// of the key of its mail. Revision rises with every act.
//
// A stay that is extended is replaced by another one of the same request, so the request is what an appointment stays with: Place finds the
// open handover of the request and moves it.
//
// Times are half-open and in UTC. The database keeps that a trainer and a dog have one appointment at a time and a stay one open handover;
// gates and areas are counted under a lock of the site (free.go). Names of owners, notes and links go into no log.
package handover

import (
	"time"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/ids"
)

// Purpose says what an appointment is for.
type Purpose string

// The purposes.
const (
	PurposeHandover Purpose = "handover"
	PurposeLesson   Purpose = "lesson"
)

// Slot is a time with a trainer, an area and a gate.
type Slot struct {
	TrainerID ids.TrainerID `db:"trainer_id" json:"trainer_id"`
	// AreaID is where skills are shown; absent where it is left open.
	AreaID ids.AreaID `db:"area_id" json:"area_id"`
	// Gate is where the owner arrives.
	Gate string `db:"gate" json:"gate"`
	// Begins and Ends are instants in UTC, in whole minutes.
	Begins time.Time `db:"begins" json:"begins"`
	Ends   time.Time `db:"ends" json:"ends"`
}

// same reports whether two slots are the same.
func (s Slot) same(other Slot) bool {
	return s.TrainerID == other.TrainerID && s.AreaID == other.AreaID && s.Gate == other.Gate && s.Begins.Equal(other.Begins) && s.Ends.Equal(other.Ends)
}

// overlaps reports whether two slots have a moment in common.
func (s Slot) overlaps(other Slot) bool {
	return s.Begins.Before(other.Ends) && other.Begins.Before(s.Ends)
}

// Appointment is an appointment with an owner.
type Appointment struct {
	ID      ids.AppointmentID `db:"id" json:"id"`
	Purpose Purpose           `db:"purpose" json:"purpose"`
	// StayID is the stay of RequestID at the latest change.
	StayID    ids.StayID    `db:"stay_id" json:"stay_id"`
	RequestID ids.RequestID `db:"request_id" json:"request_id"`
	DogID     ids.DogID     `db:"dog_id" json:"dog_id"`
	OwnerID   ids.OwnerID   `db:"owner_id" json:"owner_id"`
	SiteID    ids.SiteID    `db:"site_id" json:"site_id"`
	Slot
	State State `db:"state" json:"state"`
	// Version is 1 or more and rises with each change that the owner notices.
	Version int `db:"version" json:"version"`
	// Revision is 1 or more and rises with every change.
	Revision int `db:"revision" json:"revision"`
	// Wish is what the owner wrote when asking for another time, up to 500 characters. It may say anything about anybody.
	Wish string `db:"wish" json:"wish"`
	// LateMinutes is by how much the owner will be late, 0 to 240.
	LateMinutes int       `db:"late_minutes" json:"late_minutes"`
	MadeAt      time.Time `db:"made_at" json:"made_at"`
	ChangedAt   time.Time `db:"changed_at" json:"changed_at"`
}

// UID names the appointment in calendars, the same through all its changes. It is a UUID of version 5, as RFC 7986 section 5.3 asks for a UUID,
// and gives no identifier of the database away.
func (a Appointment) UID() string {
	return uuid.NewSHA1(a.ID.UUID(), []byte("longlead appointment")).String()
}

// Change is what Changed is told of.
type Change struct {
	// Before is the zero Appointment when it was placed or booked.
	Before, After Appointment
	Act           Act
	// By names who made it; ByOwner for what was done on the owner's page.
	By, Why string
	// LinkToken opens the owner's page (LinkPath, LinkURL). It is new with each change of the version, and empty otherwise: only its hash is
	// kept, so that it goes into a letter now or never.
	LinkToken string
}

// ByOwner is who makes a change on the owner's page.
const ByOwner = "owner"

// Noticed reports whether the owner is to be told.
func (c Change) Noticed() bool { return c.After.Version != c.Before.Version }

// Placing is a time for the handover of a stay.
type Placing struct {
	StayID    ids.StayID
	RequestID ids.RequestID
	DogID     ids.DogID
	OwnerID   ids.OwnerID
	SiteID    ids.SiteID
	Slot      Slot
	// Others are further times that the owner may choose. They replace those offered before.
	Others []Slot
	// NotReady says that it is moved because the dog needs more days.
	NotReady bool
	By, Why  string
}

// Offer is another time that an owner may choose.
type Offer struct {
	ID            ids.OfferID       `db:"id"`
	AppointmentID ids.AppointmentID `db:"appointment_id"`
	Slot
}

// Entry is one entry of the history of an appointment.
type Entry struct {
	AppointmentID ids.AppointmentID `db:"appointment_id"`
	Revision      int               `db:"revision"`
	ChangedAt     time.Time         `db:"changed_at"`
	ChangedBy     string            `db:"changed_by"`
	Act           Act               `db:"act"`
	Before        *Appointment      `db:"before"`
	After         Appointment       `db:"after"`
	Why           string            `db:"why"`
}
