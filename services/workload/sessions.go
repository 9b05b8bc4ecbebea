package workload

import (
	"cmp"
	"fmt"
	"slices"
)

// Bounds of a session record, wide enough for any that we heard of. Our own setting.
const (
	mostNumber = 10_000
	mostTrials = 1_000
	mostHold   = 3_600
)

// Session is what a trainer logged of one session of one skill.
type Session struct {
	// Number says which session of the skill it was since the program began, from 1. A session that nobody logged leaves a
	// gap; the dog has learned in it all the same.
	Number int
	// Trials were scored and Successes of them passed. 0 trials are a session without a score.
	Trials, Successes int
	// HoldSeconds is the longest hold; 0 means not timed.
	HoldSeconds int
}

func (s Session) validate() error {
	for _, f := range []struct {
		name             string
		value, low, high int
	}{
		{"number", s.Number, 1, mostNumber},
		{"trials", s.Trials, 0, mostTrials},
		{"successes", s.Successes, 0, s.Trials},
		{"hold in seconds", s.HoldSeconds, 0, mostHold},
	} {
		if f.value < f.low || f.value > f.high {
			return fmt.Errorf("session %d: %s %d: use %d to %d", s.Number, f.name, f.value, f.low, f.high)
		}
	}
	return nil
}

// inOrder returns the sessions by number; those of one number by what they say, so that the order in which they came does not
// matter anywhere.
func inOrder(sessions []Session) []Session {
	sorted := slices.Clone(sessions)
	slices.SortFunc(sorted, func(a, b Session) int {
		return cmp.Or(a.Number-b.Number, a.Trials-b.Trials, a.Successes-b.Successes, a.HoldSeconds-b.HoldSeconds)
	})
	return sorted
}

// tally sums up the sessions of a skill.
type tally struct {
	// last is the highest number; 0 before the first session.
	last int
	// scored is how many sessions have trials, timed how many have a hold.
	scored, timed     int
	trials, successes int
	longest           int
}

func tallyOf(sessions []Session) tally {
	var t tally
	for _, s := range sessions {
		t.last = max(t.last, s.Number)
		t.trials += s.Trials
		t.successes += s.Successes
		t.longest = max(t.longest, s.HoldSeconds)
		if s.Trials > 0 {
			t.scored++
		}
		if s.HoldSeconds > 0 {
			t.timed++
		}
	}
	return t
}
