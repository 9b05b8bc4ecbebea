package planner

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// SuspectedDistemper is the one illness that has numbers of its own.
const SuspectedDistemper = "distemper"

// Scopes of an intake hold.
const (
	HoldRow  = "row"
	HoldSite = "site"
	HoldNone = "none"
)

// HealthRules are what a site does when a dog is ill, in days. They are settings: a veterinarian and local codes go before them.
type HealthRules struct {
	SiteID ids.SiteID `db:"site_id"`
	// IsolationDays is how long a dog with signs is kept apart.
	IsolationDays int `db:"isolation_days"`
	// WatchDays is how long those near it are watched, and how far back they are looked for; DistemperWatchDays when that is suspected.
	WatchDays          int `db:"watch_days"`
	DistemperWatchDays int `db:"distemper_watch_days"`
	// HoldDays is how long no new dog arrives in the row or at the site, as HoldScope says.
	HoldDays  int    `db:"hold_days"`
	HoldScope string `db:"hold_scope"`
	Note      string `db:"note"`
}

// DefaultHealthRules returns the numbers of a site that has set none. Isolation for 14 days, and incubation of up to 7 days, of about 14
// for distemper: UF, Shelter Animal Physical Health, Module 4. The hold is common practice, no source.
func DefaultHealthRules() HealthRules {
	return HealthRules{IsolationDays: 14, WatchDays: 7, DistemperWatchDays: 14, HoldDays: 7, HoldScope: HoldRow}
}

// Isolated returns the nights of isolation of a dog whose signs began on a day; it may come out on the last day, To.
func (r HealthRules) Isolated(from calendar.Date) calendar.Span {
	return calendar.Span{From: from, To: from.AddDays(r.IsolationDays)}
}

// Watched returns the days on which those near it are watched; To is the first day after them.
func (r HealthRules) Watched(from calendar.Date, suspected string) calendar.Span {
	return calendar.Span{From: from, To: from.AddDays(r.lookBack(suspected))}
}

func (r HealthRules) lookBack(suspected string) int {
	if suspected == SuspectedDistemper {
		return r.DistemperWatchDays
	}
	return r.WatchDays
}

// Isolation is nights of a stay spent in an isolation run. The stay keeps its own run meanwhile: nobody is put into it.
type Isolation struct {
	ID        ids.IsolationID `db:"id" json:"id"`
	RequestID ids.RequestID   `db:"request_id" json:"request_id"`
	StayID    ids.StayID      `db:"stay_id" json:"stay_id"`
	SiteID    ids.SiteID      `db:"site_id" json:"site_id"`
	RunID     ids.RunID       `db:"run_id" json:"run_id"`
	// Days are the nights; the dog may come out on To.
	Days      calendar.Span `db:"days" json:"days"`
	Suspected string        `db:"suspected" json:"suspected"`
	Reason    string        `db:"reason" json:"reason"`
	MadeAt    time.Time     `db:"made_at" json:"made_at"`
	MadeBy    string        `db:"made_by" json:"made_by"`
	EndedAt   *time.Time    `db:"ended_at" json:"ended_at"`
	EndedBy   string        `db:"ended_by" json:"ended_by"`
	EndReason string        `db:"end_reason" json:"end_reason"`
}

// Watch is a dog that was near one that was isolated.
type Watch struct {
	IsolationID ids.IsolationID `db:"isolation_id"`
	RequestID   ids.RequestID   `db:"request_id"`
	Days        calendar.Span   `db:"days"`
	Because     []string        `db:"because"`
}

// IntakeHold is days on which plans put no new arrival into a row, or, where no row is named, into the site.
type IntakeHold struct {
	IsolationID ids.IsolationID `db:"isolation_id"`
	SiteID      ids.SiteID      `db:"site_id"`
	Row         string          `db:"row_name"`
	Days        calendar.Span   `db:"days"`
}

// covers reports whether the hold keeps an arrival on a day out of a run.
func (h IntakeHold) covers(run facility.Run, day calendar.Date) bool {
	return h.SiteID == run.SiteID && (h.Row == "" || h.Row == run.Row) && h.Days.Contains(day)
}

// words names what is held: "row B" or "the site".
func (h IntakeHold) words() string {
	if h.Row == "" {
		return "the site"
	}
	return "row " + h.Row
}

// isolationAsk is what a person asks for. Zero values mean the site's rules, or the first run that will do.
type isolationAsk struct {
	code, suspected, run string
	from                 calendar.Date
	days, holdDays       int
	scope                string
	moveRuns             bool
	// areas tells who was in which area; nil where no days are planned.
	areas Areas
}

// IsolationPlan is what moving a dog to isolation does and touches.
type IsolationPlan struct {
	RunID     ids.RunID
	RunCode   string
	Days      calendar.Span
	Suspected string
	Watch     []Contact
	Hold      IntakeHold
	Arrivals  []HeldArrival
	// Moves are the arrivals that get another run, when that is asked for.
	Moves       []RunMove
	Notes       []string
	Fingerprint string `json:"-"`
	m           *mending
	rules       HealthRules
	// later are graduation days after the isolation, when the promised one falls into it.
	later []Extension
}

// isolation works out what moving the dog to isolation does.
func (m *mending) isolation(ctx context.Context, db postgres.DB, ask isolationAsk) (IsolationPlan, error) {
	p := IsolationPlan{m: m, Suspected: ask.suspected}
	if ask.from.Before(m.stay.Nights.From) || ask.from.After(m.stay.Nights.To) {
		return p, apperr.Preconditionf("NOT_THERE", "%s is at %s from %s to %s, not on %s: nothing was changed", m.c.Dog.Code, m.in.Sites[0].Code, m.stay.Nights.From, m.stay.Nights.To, ask.from)
	}
	var err error
	if p.rules, err = readHealthRules(ctx, db, m.stay.SiteID); err != nil {
		return p, err
	}
	if ask.days > 0 {
		p.rules.IsolationDays = ask.days
	}
	p.Days = p.rules.Isolated(ask.from)
	if p.RunID, err = m.isolationRun(ctx, db, p.Days, ask.run); err != nil {
		return p, err
	}
	p.RunCode = m.runCode(p.RunID)
	if p.Watch, err = m.contacts(ctx, db, ask, p.rules); err != nil {
		return p, err
	}
	p.Hold = m.holdOf(ask, p.rules)
	if p.Arrivals, err = m.heldArrivals(p.Hold); err != nil {
		return p, err
	}
	if ask.moveRuns {
		for _, a := range p.Arrivals {
			if a.Other != nil {
				p.Moves = append(p.Moves, *a.Other)
			}
		}
	}
	if err := p.addGraduation(); err != nil {
		return p, err
	}
	p.Fingerprint, err = m.fingerprint(p)
	return p, err
}

// addGraduation says what becomes of a graduation day that falls into the isolation, and what else to know.
func (p *IsolationPlan) addGraduation() error {
	p.Notes = append(p.Notes, fmt.Sprintf("Its run %s stays its own: clean and disinfect it before it comes back or another dog has it, as the veterinarian says.", p.m.runCode(p.m.stay.RunID)))
	if p.Hold.Days.IsEmpty() {
		p.Notes = append(p.Notes, "No intake hold is set: new dogs may arrive beside those that are watched.")
	}
	graduation := p.m.stay.Nights.To
	if !graduation.Before(p.Days.To) {
		return nil
	}
	p.Notes = append(p.Notes, fmt.Sprintf("It would graduate on %s, in isolation: it leaves then from isolation if the veterinarian agrees, or stays on by an extension after %s.", graduation, p.Days.To))
	found, err := p.m.extensions(min(mostMendDays, p.Days.To.Sub(graduation)+defaultMendDays))
	for _, e := range found.Choices {
		if !e.Graduation.Before(p.Days.To) && len(p.later) < mostLaterDays {
			p.later = append(p.later, e)
		}
	}
	return err
}

// mostLaterDays is how many graduation days after the isolation are shown.
const mostLaterDays = 5

// isolationRun finds an isolation run of the site that fits the dog and is free on all the nights and for the clean-down around them, or
// says why there is none.
func (m *mending) isolationRun(ctx context.Context, db postgres.DB, nights calendar.Span, only string) (ids.RunID, error) {
	taken, err := listIsolations(ctx, db, m.stay.SiteID)
	if err != nil {
		return ids.RunID{}, err
	}
	site := m.in.Sites[0]
	dog := facility.DogSize{LengthMM: m.c.Dog.LengthMM, HeightMM: m.c.Dog.HeightMM}
	var why []string
	runs := map[string][]string{} // by reason, so that each is said once
	refuse := func(run, reason string) {
		if len(runs[reason]) == 0 {
			why = append(why, reason)
		}
		runs[reason] = append(runs[reason], run)
	}
	for _, run := range m.in.Runs {
		if !run.Isolation || only != "" && run.Code != only {
			continue
		}
		if fits, reason := facility.FitsDog(run.Size(), dog, site.FloorRule()); !fits {
			refuse(run.Code, reason)
			continue
		}
		if reason := m.isolationRunTaken(run, nights, taken); reason != "" {
			refuse(run.Code, reason)
			continue
		}
		return run.ID, nil
	}
	for i, reason := range why {
		why[i] = strings.Join(runs[reason], ", ") + ": " + reason
	}
	if len(why) == 0 {
		why = []string{"there is none"}
	}
	return ids.RunID{}, apperr.Preconditionf("NO_ISOLATION_RUN",
		"no isolation run at %s is free from %s to %s (%s): ask the veterinarian how to keep the dog apart, empty a run away from the others and mark it for isolation", site.Code, nights.From, nights.To, strings.Join(why, "; "))
}

// isolationRunTaken says what holds a run on one of the nights.
func (m *mending) isolationRunTaken(run facility.Run, nights calendar.Span, taken []Isolation) string {
	clean := m.in.Sites[0].CleanDownDays
	for _, t := range taken {
		if t.RunID != run.ID {
			continue
		}
		wide := calendar.Span{From: t.Days.From.AddDays(-clean), To: t.Days.To.AddDays(clean)}
		if t.RequestID == m.stay.RequestID {
			wide = t.Days
		}
		if wide.Overlaps(nights) {
			return fmt.Sprintf("taken from %s to %s", t.Days.From, t.Days.To)
		}
	}
	for _, s := range m.in.Stays {
		if s.RunID == run.ID && (calendar.Span{From: s.Nights.From.AddDays(-clean), To: s.Nights.To.AddDays(clean)}).Overlaps(nights) {
			return fmt.Sprintf("promised from %s to %s", s.Nights.From, s.Nights.To)
		}
	}
	for night := range nights.Dates() {
		if run.ClosedOn(night) {
			return fmt.Sprintf("closed on %s", night)
		}
	}
	return ""
}

// holdOf is the intake hold that is asked for, else that of the site's rules. When distemper is suspected it lasts as long as the watch.
func (m *mending) holdOf(ask isolationAsk, rules HealthRules) IntakeHold {
	scope, days := rules.HoldScope, rules.HoldDays
	if ask.suspected == SuspectedDistemper {
		days = max(days, rules.DistemperWatchDays)
	}
	if ask.scope != "" {
		scope = ask.scope
	}
	if ask.holdDays > 0 {
		days = ask.holdDays
	}
	h := IntakeHold{SiteID: m.stay.SiteID}
	if scope == HoldNone || days == 0 {
		return h
	}
	h.Days = calendar.Span{From: ask.from, To: ask.from.AddDays(days)}
	if scope == HoldRow {
		at := slices.IndexFunc(m.in.Runs, func(r facility.Run) bool { return r.ID == m.stay.RunID })
		h.Row = m.in.Runs[at].Row
	}
	return h
}

// isolateDog moves a dog to isolation in the caller's transaction, as it was previewed, or refuses and changes nothing.
func isolateDog(ctx context.Context, tx postgres.Tx, who author, ask isolationAsk, fingerprint, reason string) (IsolationPlan, error) {
	// Two changes at once wait for each other here, so the second sees what the first did.
	if err := holdPublishing(ctx, tx); err != nil {
		return IsolationPlan{}, err
	}
	m, err := readMending(ctx, tx, ask.code, who.at)
	if err != nil {
		return IsolationPlan{}, err
	}
	p, err := m.isolation(ctx, tx, ask)
	if err != nil {
		return p, err
	}
	if p.Fingerprint != fingerprint {
		return p, errChanged()
	}
	i := Isolation{ID: ids.IsolationID(who.mint()), RequestID: m.stay.RequestID, StayID: m.stay.ID, SiteID: m.stay.SiteID, RunID: p.RunID, Days: p.Days,
		Suspected: p.Suspected, Reason: reason, MadeAt: who.at, MadeBy: who.by}
	if err := insertIsolation(ctx, tx, who, m.stay, i, p); err != nil {
		return p, err
	}
	if m.stay.State == StayPublished {
		// A dog that is there and ill is moved by no later draft.
		if err := setStayStates(ctx, tx, who, []Stay{m.stay}, StayConfirmed, "isolated, so that no draft moves it"); err != nil {
			return p, err
		}
		m.stay.State = StayConfirmed
	}
	return p, replaceStays(ctx, tx, who, swapsOf(p.Moves, who), fmt.Sprintf("out of the intake hold of %s until %s", p.Hold.words(), p.Hold.Days.To))
}

// releaseDog lets a dog out of isolation on a day, earlier than planned or as planned.
func releaseDog(ctx context.Context, tx postgres.Tx, who author, code string, day calendar.Date, reason string, lift bool) (*mending, Isolation, error) {
	if err := holdPublishing(ctx, tx); err != nil {
		return nil, Isolation{}, err
	}
	m, err := readMending(ctx, tx, code, who.at)
	if err != nil {
		return nil, Isolation{}, err
	}
	i, err := findIsolation(ctx, tx, m.stay, day, m.c.Dog.Code)
	if err != nil {
		return nil, i, err
	}
	err = endIsolation(ctx, tx, who, m.stay, i, day, reason, lift)
	i.Days.To = day
	return m, i, err
}
