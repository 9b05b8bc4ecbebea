package dayplan

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/training"
)

// Inputs is one consistent picture of all that the plan of a site's day depends on.
type Inputs struct {
	Site  facility.Site
	Day   calendar.Date
	Areas []facility.Area
	// Shifts are those that begin at the site on the day, by trainer code, with the trainer.
	Shifts []Shift
	// Guests are the dogs that are there, by code.
	Guests []Guest
	Skills []training.Skill
	// Closures are those of areas that touch the day, and Forecast the hours of the day that somebody entered.
	Closures []facility.AreaClosure
	Forecast []facility.ForecastHour
	// Apart are the pairs of guests that must not meet.
	Apart []enrollment.Apart
	// Gate is where owners who bring a dog come in, and GateMinutes is what lies between two owners there. Both are left out on a day without
	// appointments.
	Gate        string `json:",omitempty"`
	GateMinutes int    `json:",omitempty"`
}

// Shift is a trainer at work.
type Shift struct {
	Trainer roster.Trainer
	Day     roster.TrainerDay
}

// Guest is a dog that is there.
type Guest struct {
	Stay planner.Stay
	Case enrollment.Case
	// Traits say what heat does to the dog, and whether two people must be with it.
	Traits enrollment.Traits
	// OwnTrainer is the code of the trainer whom the dog was promised.
	OwnTrainer string
	// Isolated is the number of the isolation run that the dog is in on the day; empty for none.
	Isolated string `json:",omitempty"`
	// Appointed is the appointment of its handover on the day; nil without one.
	Appointed *Appointed `json:",omitempty"`
	// Skills are those that its program asks for, by rung, and Practised how many sessions each has had before the day, of which Latest is
	// the last day.
	Skills    []ids.SkillID
	Practised map[ids.SkillID]int
	Latest    calendar.Date
}

// readInputs reads the inputs of a day inside a transaction of the caller, which must be one snapshot.
func readInputs(ctx context.Context, tx postgres.Tx, site facility.Site, day calendar.Date) (Inputs, error) {
	in := Inputs{Site: site, Day: day}
	areas, err := facility.ListAreas(ctx, tx)
	if err != nil {
		return in, err
	}
	in.Areas = slices.DeleteFunc(areas, func(a facility.Area) bool { return a.SiteID != site.ID })
	trainers, days, err := roster.ListDays(ctx, tx, calendar.Span{From: day, To: day.AddDays(1)})
	if err != nil {
		return in, err
	}
	codes := make(map[ids.TrainerID]string, len(trainers))
	for _, t := range trainers {
		codes[t.ID] = t.Code
		for _, d := range days {
			if d.TrainerID == t.ID && d.SiteID == site.ID {
				in.Shifts = append(in.Shifts, Shift{Trainer: t, Day: d})
			}
		}
	}
	if in.Skills, err = training.ListSkills(ctx, tx); err != nil {
		return in, err
	}
	if err := in.readGuests(ctx, tx, codes); err != nil {
		return in, err
	}
	if err := in.readIsolated(ctx, tx); err != nil {
		return in, err
	}
	if err := in.readAppointed(ctx, tx); err != nil {
		return in, err
	}
	return in, in.readConditions(ctx, tx)
}

// readConditions reads what closes areas, and what the guests' records say of working with them.
func (in *Inputs) readConditions(ctx context.Context, tx postgres.Tx) error {
	clock, err := newClock(in.Day, in.Site.Zone)
	if err != nil {
		return err
	}
	from, to := clock.instant(0), clock.instant(clock.minutes)
	if in.Closures, err = facility.ListAreaClosures(ctx, tx, in.Site.ID, from, to); err != nil {
		return err
	}
	if in.Forecast, err = facility.ListForecast(ctx, tx, in.Site.ID, from, to); err != nil {
		return err
	}
	dogs := make([]ids.DogID, len(in.Guests))
	for i, g := range in.Guests {
		dogs[i] = g.Case.Dog.ID
	}
	traits, err := enrollment.ListTraits(ctx, tx, dogs)
	if err != nil {
		return err
	}
	for i := range in.Guests {
		in.Guests[i].Traits = traits[dogs[i]]
	}
	in.Apart, err = enrollment.ListApart(ctx, tx, dogs)
	return err
}

func (in *Inputs) readGuests(ctx context.Context, tx postgres.Tx, codes map[ids.TrainerID]string) error {
	stays, err := planner.ListStaysOn(ctx, tx, in.Site.ID, in.Day)
	if err != nil {
		return err
	}
	byRequest := make(map[ids.RequestID]planner.Stay, len(stays))
	requests := make([]ids.RequestID, len(stays))
	since := in.Day
	for i, s := range stays {
		requests[i], byRequest[s.RequestID] = s.RequestID, s
		if s.Nights.From.Before(since) {
			since = s.Nights.From
		}
	}
	cases, err := enrollment.ListCasesByRequest(ctx, tx, requests)
	if err != nil {
		return err
	}
	targets, err := training.ListTargets(ctx, tx)
	if err != nil {
		return err
	}
	at := map[ids.DogID]*Guest{}
	in.Guests = make([]Guest, len(cases))
	dogs := make([]ids.DogID, len(cases))
	slices.SortFunc(cases, func(a, b enrollment.Case) int { return strings.Compare(a.Dog.Code, b.Dog.Code) })
	for i, c := range cases {
		stay := byRequest[c.Request.ID]
		in.Guests[i] = Guest{Stay: stay, Case: c, OwnTrainer: codes[stay.TrainerID], Practised: map[ids.SkillID]int{}}
		for _, t := range targets {
			if t.ProgramID == c.Program.ID {
				in.Guests[i].Skills = append(in.Guests[i].Skills, t.SkillID)
			}
		}
		dogs[i], at[c.Dog.ID] = c.Dog.ID, &in.Guests[i]
	}
	sessions, err := training.ListSessions(ctx, tx, dogs, calendar.Span{From: since, To: in.Day})
	for _, s := range sessions {
		g := at[s.DogID]
		if s.Trials > 0 && !s.Day.Before(g.Stay.Nights.From) {
			g.Practised[s.SkillID]++
			g.Latest = s.Day
		}
	}
	return err
}

// Fingerprint is a digest of the inputs: equal inputs have equal fingerprints, and any change that could matter to the plan changes it.
func (in Inputs) Fingerprint() (string, error) {
	text, err := json.Marshal(in)
	if err != nil {
		return "", fmt.Errorf("fingerprint the inputs of %s on %s: %w", in.Site.Code, in.Day, err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:16]), nil
}
