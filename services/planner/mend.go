package planner

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/workload"
)

// Mending changes a promised stay when something comes in between: the dog is not ready (mend_extend.go), or it falls ill
// (mend_isolate.go). What it would do is worked out first and shown, with a fingerprint; it is done only when working it out again gives
// the same. The rules are those of a month plan: the site's days are laid out as a board, without the stay in question.

// mendAhead is how many days beyond the last one in question are looked at: stays that give way may reach so far, one after the other.
const mendAhead = 200

// mending is the picture in which one stay is changed.
type mending struct {
	// in is all that it depends on, of the stay's site alone.
	in Inputs
	// b is the board without the stay. Its days begin no later than the stay, and its one site is number 0.
	b    *board
	stay Stay
	c    enrollment.Case
	need workload.Need
	// today is the day at the site.
	today calendar.Date
	cases map[ids.RequestID]enrollment.Case
	// noHousing is the earliest graduation day for which no runs were found; absent while there is none.
	noHousing calendar.Date
	// digest is the fingerprint of in; empty until it is asked for.
	digest string
}

// readMending reads the picture for the dog or request with a code, inside a transaction of the caller, which must be one snapshot.
func readMending(ctx context.Context, tx postgres.Tx, code string, now time.Time) (*mending, error) {
	stay, err := findMendable(ctx, tx, code)
	if err != nil {
		return nil, err
	}
	m := &mending{stay: stay, cases: map[ids.RequestID]enrollment.Case{}}
	sites, err := facility.ListSites(ctx, tx)
	if err != nil {
		return nil, err
	}
	m.in.Sites = slices.DeleteFunc(sites, func(s facility.Site) bool { return s.ID != stay.SiteID })
	zone, err := calendar.LoadZone(m.in.Sites[0].Zone)
	if err != nil {
		return nil, fmt.Errorf("zone of site %s: %w", m.in.Sites[0].Code, err)
	}
	m.today = calendar.DateIn(now, zone)
	if err := m.readInputs(ctx, tx); err != nil {
		return nil, err
	}
	for _, c := range m.in.StayCases {
		m.cases[c.Request.ID] = c
	}
	m.c = m.cases[stay.RequestID]
	if m.need, err = m.c.Need(stay.Nights.From); err != nil {
		return nil, err
	}
	m.b, err = newBoard(m.without(stay))
	return m, err
}

// findMendable finds the stay that is meant by the code of a dog or request: the one that it is there for, else the next one.
func findMendable(ctx context.Context, db postgres.DB, code string) (Stay, error) {
	requests, err := enrollment.ListRequestsByCode(ctx, db, code)
	if err != nil {
		return Stay{}, err
	}
	stays, err := listPromised(ctx, db, requests)
	if err != nil {
		return Stay{}, err
	}
	if len(stays) == 0 {
		return Stay{}, apperr.NotFoundf("STAY_UNKNOWN", "no dog or request %q has a promised stay that has not ended: `longlead export stays` lists them", code)
	}
	return stays[0], nil
}

// readInputs reads all of the site's inputs that could matter. Stays that give way may begin before the one in question, if only after
// today: so far back the days go.
func (m *mending) readInputs(ctx context.Context, tx postgres.Tx) (err error) {
	stay, in, from := m.stay, &m.in, m.stay.Nights.From
	if from.After(m.today) {
		from = m.today
	}
	if far := stay.Nights.From.AddDays(-mendAhead); from.Before(far) {
		from = far
	}
	in.Month, in.Horizon = from.Month(), calendar.Span{From: from, To: stay.Nights.To.AddDays(mendAhead)}
	if in.Runs, err = facility.ListRuns(ctx, tx); err != nil {
		return err
	}
	in.Runs = slices.DeleteFunc(in.Runs, func(r facility.Run) bool { return r.SiteID != stay.SiteID })
	places, err := facility.ListPlaces(ctx, tx, in.Horizon)
	if err != nil {
		return err
	}
	in.Places = map[ids.SiteID][]facility.DayPlaces{stay.SiteID: places[stay.SiteID]}
	if in.Trainers, in.TrainerDays, err = roster.ListDays(ctx, tx, in.Horizon); err != nil {
		return err
	}
	here := map[ids.TrainerID]bool{stay.TrainerID: true}
	in.TrainerDays = slices.DeleteFunc(in.TrainerDays, func(d roster.TrainerDay) bool { return d.SiteID != stay.SiteID })
	for _, d := range in.TrainerDays {
		here[d.TrainerID] = true
	}
	in.Trainers = slices.DeleteFunc(in.Trainers, func(t roster.Trainer) bool { return !here[t.ID] })
	if in.Stays, err = listLiveStays(ctx, tx, in.Horizon); err != nil {
		return err
	}
	in.Stays = slices.DeleteFunc(in.Stays, func(s Stay) bool { return s.SiteID != stay.SiteID })
	if in.StayCases, err = enrollment.ListCasesByRequest(ctx, tx, requestsOf(in.Stays)); err != nil {
		return err
	}
	in.Holds, err = listHolds(ctx, tx, in.Horizon)
	in.Holds = slices.DeleteFunc(in.Holds, func(h IntakeHold) bool { return h.SiteID != stay.SiteID })
	return err
}

// requestsOf lists the requests of stays.
func requestsOf(stays []Stay) []ids.RequestID {
	requests := make([]ids.RequestID, len(stays))
	for i, s := range stays {
		requests[i] = s.RequestID
	}
	return requests
}

// without are the inputs as they would be without a stay.
func (m *mending) without(stay Stay) Inputs {
	in := m.in
	in.Stays = slices.DeleteFunc(slices.Clone(in.Stays), func(s Stay) bool { return s.ID == stay.ID })
	return in
}

// arrived reports whether the dog of a stay is there: it changes its run no more.
func (m *mending) arrived(s Stay) bool {
	return s.State == StayInResidence || s.State == StayGoneHome || s.Nights.From.Before(m.today.AddDays(1))
}

// ownTrainer is the entry of the stay's trainer on the board; nil when the trainer works at the site on none of the days.
func (m *mending) ownTrainer() *trainerBoard {
	i := slices.IndexFunc(m.b.trainers, func(t trainerBoard) bool { return t.trainer.ID == m.stay.TrainerID })
	if i < 0 {
		return nil
	}
	return &m.b.trainers[i]
}

// trainerCode is the code of the stay's trainer.
func (m *mending) trainerCode() string {
	for _, t := range m.in.Trainers {
		if t.ID == m.stay.TrainerID {
			return t.Code
		}
	}
	return ""
}

func (m *mending) runCode(id ids.RunID) string {
	for _, r := range m.in.Runs {
		if r.ID == id {
			return r.Code
		}
	}
	return ""
}

// fingerprint is a digest of one choice and of everything that it was worked out from.
func (m *mending) fingerprint(choice any) (_ string, err error) {
	if m.digest == "" {
		if m.digest, err = m.in.Fingerprint(); err != nil {
			return "", err
		}
	}
	text, err := json.Marshal(struct {
		Inputs string
		Stay   Stay
		Choice any
	}{m.digest, m.stay, choice})
	if err != nil {
		return "", fmt.Errorf("fingerprint a choice: %w", err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8]), nil
}

// errChanged refuses what was previewed from another picture.
func errChanged() error {
	return apperr.Preconditionf("CHANGED_SINCE_PREVIEW",
		"promises, places, runs, trainers or records of the site have changed since the preview, so nothing was done: preview it again")
}
