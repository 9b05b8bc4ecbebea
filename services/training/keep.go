package training

import (
	"context"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// Limits of an entry, as the table has them.
const (
	mostTrials     = 1000
	mostHold       = 3600
	mostDistanceCM = 50000
	mostNote       = 500
	// mostAhead is how far a device's clock may be ahead: beyond it the day would be wrong, not only the hour.
	mostAhead = 24 * time.Hour
	// mostAgeYears is an age that no dog reaches.
	mostAgeYears = 30
)

// checkEntry finds what is wrong with the numbers and the note of an entry, all at once.
func checkEntry(e Entry) error {
	var fields []apperr.Field
	bad := func(wrong bool, path, rule, remedy string) {
		if wrong {
			fields = append(fields, apperr.Field{Path: path, Rule: rule, Remedy: remedy})
		}
	}
	bad(e.Trials < 0 || e.Trials > mostTrials, "trials", fmt.Sprintf("must be 0 to %d", mostTrials), "count the trials of this session")
	bad(e.Successes < 0 || e.Successes > e.Trials, "successes", "must be 0 to the number of trials", "8 of 10 is 10 trials and 8 successes")
	bad(e.HoldSeconds < 0 || e.HoldSeconds > mostHold, "hold_seconds", fmt.Sprintf("must be 0 to %d", mostHold), "give the longest hold in seconds, 0 when none was measured")
	bad(e.DistanceCM < 0 || e.DistanceCM > mostDistanceCM, "distance_cm", fmt.Sprintf("must be 0 to %d", mostDistanceCM), "give the distance from the handler in centimetres")
	bad(e.Distraction < 0 || e.Distraction >= len(DistractionNames), "distraction", "must be 0 to 3", "0 is quiet, 1 mild, 2 lively, 3 busy")
	bad(e.Settled != nil && (*e.Settled < 0 || *e.Settled >= len(SettledNames)), "settled", "must be 0 to 3", "0 is not settled, 3 is calm; leave it out when it was not noted")
	bad(!utf8.ValidString(e.Note) || strings.ContainsRune(e.Note, 0), "note", "is not text", "write it in UTF-8")
	bad(utf8.RuneCountInString(e.Note) > mostNote, "note", fmt.Sprintf("must have at most %d characters", mostNote), "shorten it")
	bad(e.TrainedAt.IsZero(), "trained_at", "must say when the session was", "send the instant of the device")
	if len(fields) == 0 {
		return nil
	}
	return apperr.Invalidf("SESSION_INVALID", "The session has fields that cannot be accepted.").With(fields...)
}

// checkInstant holds the device's clock against the server's and the dog's life. The differences that pass are kept.
func checkInstant(at, now time.Time, day calendar.Date, dog DogRef) error {
	switch {
	case at.Sub(now) > mostAhead:
		return apperr.InvalidField("trained_at", fmt.Sprintf("lies more than 24 hours ahead of the server's clock, which shows %s", now.Format(time.RFC3339)),
			"set the clock of the device right, and log the session with the right time")
	case day.Before(dog.Born):
		return apperr.InvalidField("trained_at", fmt.Sprintf("is of %s, before the dog %s was born (%s)", day, dog.Code, dog.Born),
			"set the clock of the device right, and log the session with the right time")
	case day.After(dog.Born.AddMonths(12 * mostAgeYears)):
		return apperr.InvalidField("trained_at", fmt.Sprintf("is of %s, when the dog %s would be over %d years old", day, dog.Code, mostAgeYears),
			"check the year of the session, or the dog's day of birth")
	}
	return nil
}

// keep writes a session, or finds it when it was sent before; then what is kept is returned. It returns Conflict when the key
// is that of something else or when the session that it corrects was corrected already, and NotFound when there is none.
func keep(ctx context.Context, tx postgres.Tx, s Session, dog DogRef) (Session, error) {
	if kept, err := findKept(ctx, tx, s); kept != nil || err != nil {
		return deref(kept), err
	}
	if err := checkInstant(s.TrainedAt, s.ArrivedAt, s.Day, dog); err != nil {
		return Session{}, err
	}
	if !s.Replaces.IsZero() {
		// Whether it was corrected already is for the insert to find: who looks before it may see a correction that another call with
		// the same key has just made.
		switch _, found, err := findSession(ctx, tx, s.Replaces); {
		case err != nil:
			return Session{}, err
		case !found:
			return Session{}, sessionUnknown(s.Replaces)
		}
	}
	done, err := insertSession(ctx, tx, s)
	if done || err != nil {
		return s, err
	}
	// Somebody was faster with the same key, or has corrected the same session.
	if kept, err := findKept(ctx, tx, s); kept != nil || err != nil {
		return deref(kept), err
	}
	if err := checkReplaced(ctx, tx, s.Replaces); err != nil {
		return Session{}, err
	}
	return Session{}, apperr.Unavailablef("TRY_AGAIN", "The session clashed with others that were sent at the same time. Please send it again, as it is.")
}

// findKept returns the session that is kept under the key of s, nil when there is none, or Conflict when it says something else.
func findKept(ctx context.Context, db postgres.DB, s Session) (*Session, error) {
	kept, found, err := findSession(ctx, db, s.ID)
	switch {
	case err != nil || !found:
		return nil, err
	case !kept.Entry.same(s.Entry):
		return nil, apperr.Conflictf("SESSION_KEY_USED", "the key %s is that of another session, logged at %s, which says something else: "+
			"correct that one, or send this one under a new key", s.ID, kept.ArrivedAt.Format(time.RFC3339))
	}
	return &kept.Session, nil
}

func deref(s *Session) Session {
	if s == nil {
		return Session{}
	}
	return *s
}

// checkReplaced makes sure that a session is there and counts.
func checkReplaced(ctx context.Context, db postgres.DB, id ids.SessionID) error {
	chain, err := listChain(ctx, db, id)
	switch {
	case err != nil:
		return err
	case len(chain) == 0:
		return sessionUnknown(id)
	case chain[0].ID != id:
		return apperr.Conflictf("SESSION_CORRECTED", "the session %s was corrected already, and %s counts now: look at that one, and correct it if it is wrong", id, chain[0].ID)
	}
	return nil
}

func sessionUnknown(id ids.SessionID) error {
	return apperr.NotFoundf("SESSION_UNKNOWN", "there is no session %s: if it waits on a device, send it first", id)
}
