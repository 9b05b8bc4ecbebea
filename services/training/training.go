// Package training keeps the skill ladder, what each program asks of a skill, and the log of training sessions.
//
// A session is kept for good as it was logged. A correction is another session that replaces it; at most one replaces any, so
// each session has one history, and the one that nothing replaces counts. The ID of a session is made by who sends it: sent
// again it is found and nothing changes (keep.go). The clock of a device may be wrong, so its instant is kept beside the one at
// which the session arrived.
//
// Dogs, trainers and programs are kept elsewhere: this package knows their IDs and is handed the rest (Known).
package training

import (
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// Skill is a rung of the ladder.
type Skill struct {
	ID   ids.SkillID `db:"id" json:"id"`
	Code string      `db:"code" json:"code"`
	Name string      `db:"name" json:"name"`
	// About says how it is done.
	About string `db:"about" json:"about"`
	// WithName says whether the dog's name is said with the command.
	WithName bool `db:"with_name" json:"with_name"`
	// SortOrder is lower for skills that come first, 0 to 1000.
	SortOrder int `db:"sort_order" json:"sort_order"`
}

// Target is what a program asks of a skill by graduation day. A zero asks for nothing.
type Target struct {
	ProgramID ids.ProgramID `db:"program_id" json:"program_id"`
	SkillID   ids.SkillID   `db:"skill_id" json:"skill_id"`
	// TrialsPercent is the share of trials to pass, 1 to 100.
	TrialsPercent int `db:"trials_percent" json:"trials_percent"`
	// HoldSeconds, 0 to 3600, and DistanceCM, 0 to 50000, are to be reached at least once in a passed trial.
	HoldSeconds int `db:"hold_seconds" json:"hold_seconds"`
	DistanceCM  int `db:"distance_cm" json:"distance_cm"`
	// Distraction is the level at which it must be passed, an index of DistractionNames.
	Distraction int `db:"distraction" json:"distraction"`
}

// DistractionNames are the levels of distraction, 0 to 3: a quiet place, people or noise far off, other dogs in sight, and a
// busy place. The levels are our own; no source.
var DistractionNames = []string{"quiet", "mild", "lively", "busy"}

// SettledNames say how settled a dog was, 0 to 3. The levels are our own; no source.
var SettledNames = []string{"not", "a little", "mostly", "calm"}

// Entry is what is logged of a session.
type Entry struct {
	DogID     ids.DogID     `db:"dog_id" json:"dog_id"`
	TrainerID ids.TrainerID `db:"trainer_id" json:"trainer_id"`
	SkillID   ids.SkillID   `db:"skill_id" json:"skill_id"`
	// TrainedAt is when it was by the clock of the device, in UTC, whole microseconds.
	TrainedAt time.Time `db:"trained_at" json:"trained_at"`
	// Trials, 0 to 1000, of which Successes were passed. A correction with 0 trials takes a session back that never was.
	Trials    int `db:"trials" json:"trials"`
	Successes int `db:"successes" json:"successes"`
	// HoldSeconds is the longest hold, 0 to 3600; 0 when none was measured.
	HoldSeconds int `db:"hold_seconds" json:"hold_seconds"`
	// DistanceCM is the distance from the handler, 0 to 50000.
	DistanceCM int `db:"distance_cm" json:"distance_cm"`
	// Distraction is an index of DistractionNames.
	Distraction int `db:"distraction" json:"distraction"`
	// Settled is an index of SettledNames; nil when it was not noted.
	Settled *int `db:"settled" json:"settled"`
	// Note has up to 500 characters. It may say anything about a dog or a person, so it goes into no error and no log.
	Note string `db:"note" json:"note"`
	// Replaces is the session that this one corrects; absent when it corrects none.
	Replaces ids.SessionID `db:"replaces_id" json:"replaces_id"`
}

// same reports whether two entries say the same.
func (e Entry) same(other Entry) bool {
	if (e.Settled == nil) != (other.Settled == nil) || e.Settled != nil && *e.Settled != *other.Settled || !e.TrainedAt.Equal(other.TrainedAt) {
		return false
	}
	e.Settled, other.Settled, e.TrainedAt, other.TrainedAt = nil, nil, time.Time{}, time.Time{}
	return e == other
}

// Session is an entry as it is kept.
type Session struct {
	ID ids.SessionID `db:"id" json:"id"`
	Entry
	// ArrivedAt is when it arrived by the clock of the server.
	ArrivedAt time.Time `db:"arrived_at" json:"arrived_at"`
	// Day is the day of TrainedAt in the zone of the trainer's home site at the time of logging.
	Day calendar.Date `db:"day" json:"day"`
	// LoggedBy names who sent it.
	LoggedBy string `db:"logged_by" json:"logged_by"`
}

// Ahead is how far the instant of the device lies ahead of the arrival. Above 0 the device's clock was ahead; below 0 the
// session was sent later, or the clock was behind.
func (s Session) Ahead() time.Duration { return s.TrainedAt.Sub(s.ArrivedAt) }

// Kept is a session with what became of it.
type Kept struct {
	Session
	// ReplacedBy is the session that corrects this one; absent when this one counts.
	ReplacedBy ids.SessionID `db:"replaced_by_id" json:"replaced_by_id"`
}
