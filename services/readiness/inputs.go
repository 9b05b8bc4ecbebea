package readiness

import (
	"context"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/training"
)

// rosterBeyond is how many days after the last graduation day the roster is read for longer stays.
const rosterBeyond = 42

// workday is a day on which a trainer works at a site.
type workday struct {
	trainer ids.TrainerID
	site    ids.SiteID
	day     calendar.Date
}

// inputs is one consistent picture of all that the readiness of some dogs depends on.
type inputs struct {
	now    time.Time
	day    calendar.Date
	skills []training.Skill
	guests []guest
	works  map[workday]bool
	// paces are those that were set, by program.
	paces map[ids.ProgramID]Pace
	// proposals says whether what could be done is asked for.
	proposals bool
	// rosterTo is the first day for which works does not hold.
	rosterTo calendar.Date
}

// readInputs reads what the readiness of the dogs of some stays depends on, inside a transaction of the caller, which must be one
// snapshot. The number of queries does not grow with the dogs.
func readInputs(ctx context.Context, tx postgres.Tx, stays []planner.Stay, day calendar.Date, now time.Time) (inputs, error) {
	in := inputs{now: now, day: day, works: map[workday]bool{}}
	if len(stays) == 0 {
		return in, nil
	}
	span := calendar.Span{From: day, To: day.AddDays(1)}
	requests := make([]ids.RequestID, len(stays))
	stayOf := make(map[ids.RequestID]planner.Stay, len(stays))
	for i, s := range stays {
		requests[i], stayOf[s.RequestID] = s.RequestID, s
		if s.Nights.From.Before(span.From) {
			span.From = s.Nights.From
		}
		if s.Nights.To.After(span.To) {
			span.To = s.Nights.To
		}
	}
	in.rosterTo = span.To.AddDays(rosterBeyond)
	trainers, err := in.readRoster(ctx, tx, span.From)
	if err != nil {
		return in, err
	}
	if in.skills, err = training.ListSkills(ctx, tx); err != nil {
		return in, err
	}
	if in.paces, err = listPaces(ctx, tx); err != nil {
		return in, err
	}
	cases, err := enrollment.ListCasesByRequest(ctx, tx, requests)
	if err != nil {
		return in, err
	}
	isolations, err := planner.ListIsolationsOf(ctx, tx, requests)
	if err != nil {
		return in, err
	}
	isolated := map[ids.RequestID][]calendar.Span{}
	for _, i := range isolations {
		isolated[i.RequestID] = append(isolated[i.RequestID], i.Days)
	}
	for _, c := range cases {
		stay := stayOf[c.Request.ID]
		in.guests = append(in.guests, guest{Stay: stay, Case: c, Trainer: trainers[stay.TrainerID], Isolated: isolated[stay.RequestID]})
	}
	return in, in.readLogs(ctx, tx, span.From)
}

// readRoster reads who works where on which day, and returns the codes of the trainers.
func (in *inputs) readRoster(ctx context.Context, tx postgres.Tx, from calendar.Date) (map[ids.TrainerID]string, error) {
	trainers, days, err := roster.ListDays(ctx, tx, calendar.Span{From: from, To: in.rosterTo})
	if err != nil {
		return nil, err
	}
	for _, d := range days {
		in.works[workday{d.TrainerID, d.SiteID, d.Day}] = true
	}
	codes := make(map[ids.TrainerID]string, len(trainers))
	for _, t := range trainers {
		codes[t.ID] = t.Code
	}
	return codes, nil
}

// readLogs reads sites, targets and sessions into the guests.
func (in *inputs) readLogs(ctx context.Context, tx postgres.Tx, since calendar.Date) error {
	sites, err := facility.ListSites(ctx, tx)
	if err != nil {
		return err
	}
	siteOf := make(map[ids.SiteID]facility.Site, len(sites))
	for _, s := range sites {
		siteOf[s.ID] = s
	}
	targets, err := training.ListTargets(ctx, tx)
	if err != nil {
		return err
	}
	asked := map[ids.ProgramID][]training.Target{}
	for _, t := range targets {
		asked[t.ProgramID] = append(asked[t.ProgramID], t)
	}
	dogs := make([]ids.DogID, len(in.guests))
	for i, g := range in.guests {
		dogs[i] = g.Case.Dog.ID
	}
	sessions, err := training.ListSessions(ctx, tx, dogs, calendar.Span{From: since, To: in.day.AddDays(1)})
	if err != nil {
		return err
	}
	of := make(map[ids.DogID][]training.Session, len(dogs))
	for _, s := range sessions {
		of[s.DogID] = append(of[s.DogID], s)
	}
	for i := range in.guests {
		g := &in.guests[i]
		site := siteOf[g.Stay.SiteID]
		g.Site, g.Zone, g.Targets = site.Code, site.Zone, asked[g.Case.Program.ID]
		for _, s := range of[g.Case.Dog.ID] {
			if counts(s) && !s.Day.Before(g.Stay.Nights.From) {
				g.Sessions = append(g.Sessions, s)
			}
		}
	}
	return nil
}

// findStay finds where a dog is on a day. On the day on which one stay ends and another begins it is the one that begins.
func findStay(ctx context.Context, tx postgres.Tx, code string, day calendar.Date) (planner.Stay, error) {
	dogs, err := enrollment.ListDogsByCode(ctx, tx, []string{code})
	if err != nil {
		return planner.Stay{}, err
	}
	if len(dogs) == 0 {
		return planner.Stay{}, apperr.NotFoundf("DOG_UNKNOWN", "there is no dog with the code %q: `longlead export dogs` lists them", code)
	}
	requests, err := enrollment.ListRequestsOfDog(ctx, tx, dogs[0].ID)
	if err != nil {
		return planner.Stay{}, err
	}
	stays, err := planner.ListStaysOf(ctx, tx, requests)
	if err != nil {
		return planner.Stay{}, err
	}
	var found planner.Stay
	known := ""
	for _, s := range stays {
		known += ", from " + s.Nights.From.String() + " to " + s.Nights.To.String()
		if !day.Before(s.Nights.From) && !day.After(s.Nights.To) {
			found = s
		}
	}
	if !found.ID.IsZero() {
		return found, nil
	}
	if known == "" {
		known = ", and it has no stay at all"
	} else {
		known = "; its stays are" + known[1:]
	}
	return found, apperr.Preconditionf("NOT_IN_RESIDENCE", "%s is at no site on %s%s: ask for a day of a stay", code, day, known)
}
