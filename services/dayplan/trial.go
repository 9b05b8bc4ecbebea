package dayplan

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// recording writes a change of a day's records inside a transaction.
type recording func(context.Context, postgres.Tx) error

// trial is a day as it would be with a change that is not recorded yet, and its rest planned by that. What a person has looked at is what is
// kept, or nothing: a search with a limit of time may find another repair the second time.
type trial struct {
	// got is what was read, with the inputs as they would be.
	got snapshot
	// changed says that the records had changed before.
	changed bool
	clock   dayClock
	redo    *anew
	record  recording
	// about is what the change says beyond the day's inputs.
	about  string
	repair Repair
}

// try lays a change of a planned day out. record may be nil.
func (s *Server) try(ctx context.Context, got snapshot, clock dayClock, redo *anew, about string, record recording) (*trial, error) {
	if err := got.refuseUnplanned(); err != nil {
		return nil, err
	}
	t := &trial{got: got, clock: clock, redo: redo, about: about, record: record}
	redo.before = &t.got.before
	var err error
	if t.changed, err = got.stale(); err != nil || record == nil {
		return t, err
	}
	t.got.in, err = s.afterwards(ctx, got, record)
	return t, err
}

// errUndone rolls a transaction back that was only to be looked at.
var errUndone = errors.New("undone on purpose")

// afterwards reads the inputs of a day as they would be once something is recorded, and records nothing.
func (s *Server) afterwards(ctx context.Context, got snapshot, record recording) (in Inputs, err error) {
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		if err := record(ctx, tx); err != nil {
			return err
		}
		if in, err = readInputs(ctx, tx, got.in.Site, got.in.Day); err != nil {
			return err
		}
		return errUndone
	})
	if errors.Is(err, errUndone) {
		err = nil
	}
	return in, err
}

// base is a digest of all that a trial rests on; equal ones were made from the same day and the same change.
func (t *trial) base(in Inputs) (string, error) {
	in.Closures = slices.Clone(in.Closures)
	for i := range in.Closures {
		in.Closures[i].ID = ids.ClosureID{} // made anew each time
	}
	return digest(in, t.got.before.ID, t.redo.since, t.redo.trainer.ID, t.about)
}

// fingerprint is a digest of a trial with the repair that came of it.
func (t *trial) fingerprint(base string) (string, error) {
	p := t.repair.Plan
	return digest(base, p.Blocks, p.Pauses, p.Duties, p.Drops, t.repair.Differences)
}

func digest(parts ...any) (string, error) {
	text, err := json.Marshal(parts)
	if err != nil {
		return "", fmt.Errorf("digest a trial of a day: %w", err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:16]), nil
}

// look plans the rest of the day, and remembers what came of it under the fingerprint that it returns.
func (s *Server) look(ctx context.Context, t *trial) (fingerprint string, err error) {
	if t.repair, err = t.got.repair(ctx, t.clock, t.redo); err != nil {
		return "", err
	}
	base, err := t.base(t.got.in)
	if err != nil {
		return "", err
	}
	if fingerprint, err = t.fingerprint(base); err == nil {
		s.looked.put(fingerprint, lookedAt{base, t.repair})
	}
	return fingerprint, err
}

// accept finds the repair that a person looked at. Another process may have made it: then it must come out the same once more.
func (s *Server) accept(ctx context.Context, t *trial, fingerprint string) error {
	base, err := t.base(t.got.in)
	if err != nil {
		return err
	}
	if seen, ok := s.looked.find(fingerprint); ok {
		if seen.base != base {
			return changedSince(t.got)
		}
		t.repair = seen.repair
		return nil
	}
	again, err := s.look(ctx, t)
	if err == nil && again != fingerprint {
		return changedSince(t.got)
	}
	return err
}

func changedSince(got snapshot) *apperr.Error {
	return apperr.Conflictf("DAY_CHANGED_MEANWHILE", "the day of %s on %s has changed since you looked, or its repair comes out otherwise now: nothing was recorded or kept. Look at it once more.",
		got.in.Site.Code, got.in.Day)
}

// keepTrial records the change and keeps the repaired day, both or neither.
func (s *Server) keepTrial(ctx context.Context, t *trial, who author) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	base, err := t.base(t.got.in)
	if err != nil {
		return err
	}
	plan := t.repair.Plan
	plan.ID, plan.MadeAt, plan.MadeBy = ids.DayPlanID(who.mint()), who.at, who.by
	return postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		live, _, err := findLive(ctx, tx, plan.SiteID, plan.Day, true)
		if err != nil {
			return err
		}
		if live.ID != t.got.before.ID {
			return plannedMeanwhile(plan.Day)
		}
		if t.record != nil {
			if err := t.record(ctx, tx); err != nil {
				return err
			}
		}
		// Under the same code as the site had: a change of the site itself is a change of the day.
		site, err := facility.FindSite(ctx, tx, t.got.in.Site.Code)
		if err != nil {
			return err
		}
		in, err := readInputs(ctx, tx, site, plan.Day)
		if err != nil {
			return err
		}
		now, err := t.base(in)
		if err != nil {
			return err
		}
		if now != base {
			return changedSince(t.got)
		}
		if plan.Fingerprint, err = in.Fingerprint(); err != nil {
			return err
		}
		t.repair.Plan, err = keepPlan(ctx, tx, plan)
		return err
	})
}

// lookedAt is a repair that somebody has looked at, with what it rests on.
type lookedAt struct {
	base   string
	repair Repair
}

// mostLooked is how many repairs a process remembers; who comes back later than that looks once more.
const mostLooked = 64

// shown remembers the latest repairs that were looked at. The zero value is ready.
type shown struct {
	mu    sync.Mutex
	byKey map[string]lookedAt
	order []string
}

func (l *shown) put(key string, seen lookedAt) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.byKey == nil {
		l.byKey = map[string]lookedAt{}
	}
	if _, known := l.byKey[key]; !known {
		l.order = append(l.order, key)
	}
	l.byKey[key] = seen
	if len(l.order) > mostLooked {
		delete(l.byKey, l.order[0])
		l.order = l.order[1:]
	}
}

func (l *shown) find(key string) (lookedAt, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	seen, ok := l.byKey[key]
	return seen, ok
}
