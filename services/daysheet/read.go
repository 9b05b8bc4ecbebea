package daysheet

import (
	"context"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/training"
)

// snapshot is all that the sheets of a day are made from.
type snapshot struct {
	dayplan.Reading
	trainers map[ids.TrainerID]roster.Trainer
	runs     map[ids.RunID]facility.Run
	// dogs are those of the day and those that the plan names.
	dogs    map[ids.DogID]enrollment.Dog
	owners  map[ids.DogID]enrollment.Owner
	upkeep  map[ids.DogID]enrollment.Upkeep
	targets map[ids.ProgramID]map[ids.SkillID]training.Target
	// watched are those of the day, by request.
	watched map[ids.RequestID][]planner.Watch
}

// readSnapshot reads a day inside a read-only transaction of the caller. A day without a plan is a Precondition.
func readSnapshot(ctx context.Context, tx postgres.Tx, siteCode string, day calendar.Date) (*snapshot, error) {
	site, err := facility.FindSite(ctx, tx, siteCode)
	if err != nil {
		return nil, err
	}
	s := &snapshot{trainers: map[ids.TrainerID]roster.Trainer{}, runs: map[ids.RunID]facility.Run{}, targets: map[ids.ProgramID]map[ids.SkillID]training.Target{},
		watched: map[ids.RequestID][]planner.Watch{}}
	reading, ok, err := dayplan.ReadLive(ctx, tx, site, day)
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, apperr.Preconditionf("DAY_NOT_PLANNED", "%s has no plan for %s, and sheets are made from one: `longlead day plan --site %s --date %s` makes it", siteCode, day, siteCode, day)
	}
	s.Reading = reading
	trainers, err := roster.ListTrainers(ctx, tx)
	if err != nil {
		return nil, err
	}
	for _, t := range trainers {
		s.trainers[t.ID] = t
	}
	runs, err := facility.ListRuns(ctx, tx)
	if err != nil {
		return nil, err
	}
	for _, r := range runs {
		s.runs[r.ID] = r
	}
	targets, err := training.ListTargets(ctx, tx)
	if err != nil {
		return nil, err
	}
	for _, t := range targets {
		if s.targets[t.ProgramID] == nil {
			s.targets[t.ProgramID] = map[ids.SkillID]training.Target{}
		}
		s.targets[t.ProgramID][t.SkillID] = t
	}
	watched, err := planner.WatchedOn(ctx, tx, site.ID, day)
	if err != nil {
		return nil, err
	}
	for _, w := range watched {
		s.watched[w.RequestID] = append(s.watched[w.RequestID], w)
	}
	return s, s.readDogs(ctx, tx)
}

// readDogs reads what is known of the dogs.
func (s *snapshot) readDogs(ctx context.Context, tx postgres.Tx) (err error) {
	seen := map[ids.DogID]bool{}
	for _, g := range s.Inputs.Guests {
		seen[g.Case.Dog.ID] = true
	}
	for _, b := range s.Plan.Blocks {
		seen[b.DogID] = true
	}
	for _, d := range s.Plan.Duties {
		seen[d.DogID] = true
	}
	for _, d := range s.Plan.Drops {
		seen[d.DogID] = true
	}
	wanted := make([]ids.DogID, 0, len(seen))
	for id := range seen {
		wanted = append(wanted, id)
	}
	if s.dogs, err = enrollment.ListDogsByID(ctx, tx, wanted); err != nil {
		return err
	}
	if s.owners, err = enrollment.ListOwnersByDog(ctx, tx, wanted); err != nil {
		return err
	}
	s.upkeep, err = enrollment.ListUpkeep(ctx, tx, wanted)
	return err
}
