package planner

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
)

// Inputs is one consistent picture of all that a month plan depends on.
type Inputs struct {
	Month calendar.Month
	// Horizon begins with the month and reaches as far as its stays can: places, runs and trainers are known on its days.
	Horizon     calendar.Span
	Sites       []facility.Site
	Runs        []facility.Run
	Places      map[ids.SiteID][]facility.DayPlaces
	Trainers    []roster.Trainer
	TrainerDays []roster.TrainerDay
	// Cases are the open requests whose window touches the month.
	Cases []enrollment.Case
	// Stays are the live stays that touch the horizon, and StayCases what is known of their requests.
	Stays     []Stay
	StayCases []enrollment.Case
	Policy    Policy
	// Holds keep new arrivals out of a row or a site, because a dog there is ill.
	Holds []IntakeHold `json:",omitempty"`
	// Pins hold requests of Cases to a site and day.
	Pins []Pin `json:",omitempty"`
}

// readInputs reads the inputs of a month inside a transaction of the caller, which must be one snapshot.
func readInputs(ctx context.Context, tx postgres.Tx, month calendar.Month) (Inputs, error) {
	in := Inputs{Month: month}
	var err error
	if in.Sites, err = facility.ListSites(ctx, tx); err != nil {
		return in, err
	}
	if in.Cases, err = enrollment.ListCases(ctx, tx, month); err != nil {
		return in, err
	}
	in.Horizon = horizon(in)
	if in.Runs, err = facility.ListRuns(ctx, tx); err != nil {
		return in, err
	}
	if in.Places, err = facility.ListPlaces(ctx, tx, in.Horizon); err != nil {
		return in, err
	}
	if in.Trainers, in.TrainerDays, err = roster.ListDays(ctx, tx, in.Horizon); err != nil {
		return in, err
	}
	if in.Stays, err = listLiveStays(ctx, tx, in.Horizon); err != nil {
		return in, err
	}
	requests := make([]ids.RequestID, len(in.Stays))
	for i, s := range in.Stays {
		requests[i] = s.RequestID
	}
	if in.StayCases, err = enrollment.ListCasesByRequest(ctx, tx, requests); err != nil {
		return in, err
	}
	if in.Holds, err = listHolds(ctx, tx, in.Horizon); err != nil {
		return in, err
	}
	open := make([]ids.RequestID, len(in.Cases))
	for i, c := range in.Cases {
		open[i] = c.Request.ID
	}
	if in.Pins, err = listLivePins(ctx, tx, open); err != nil {
		return in, err
	}
	in.Policy, err = readPolicy(ctx, tx)
	return in, err
}

// horizon reaches from the first of the month to the day after the last run could be clean again.
func horizon(in Inputs) calendar.Span {
	nights, clean := 0, 0
	for _, c := range in.Cases {
		nights = max(nights, c.Program.Nights)
	}
	for _, s := range in.Sites {
		clean = max(clean, s.CleanDownDays)
	}
	return calendar.Span{From: in.Month.First(), To: in.Month.Last().AddDays(nights + clean + 1)}
}

// Fingerprint is a digest of the inputs: equal inputs have equal fingerprints, and any change that could matter to the plan
// changes it.
func (in Inputs) Fingerprint() (string, error) {
	text, err := json.Marshal(in)
	if err != nil {
		return "", fmt.Errorf("fingerprint the inputs of %s: %w", in.Month, err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:16]), nil
}
