package planner

import (
	"context"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/training"
)

// TrainingKnown hands dogs, trainers and programs over to the training service, which does not know who keeps them.
func TrainingKnown() training.Known {
	return training.Known{
		DogsByCode: func(ctx context.Context, db postgres.DB, codes []string) ([]training.DogRef, error) {
			dogs, err := enrollment.ListDogsByCode(ctx, db, codes)
			refs := make([]training.DogRef, len(dogs))
			for i, d := range dogs {
				refs[i] = training.DogRef{ID: d.ID, Code: d.Code, Born: d.Born}
			}
			return refs, err
		},
		DogsByID: func(ctx context.Context, db postgres.DB, wanted []ids.DogID) ([]training.DogRef, error) {
			dogs, err := enrollment.ListDogsByID(ctx, db, wanted)
			refs := make([]training.DogRef, 0, len(dogs))
			for _, d := range dogs {
				refs = append(refs, training.DogRef{ID: d.ID, Code: d.Code, Born: d.Born})
			}
			return refs, err
		},
		Trainers: trainingTrainers,
		Programs: func(ctx context.Context, db postgres.DB) ([]training.ProgramRef, error) {
			programs, err := enrollment.ListPrograms(ctx, db)
			refs := make([]training.ProgramRef, len(programs))
			for i, p := range programs {
				refs[i] = training.ProgramRef{ID: p.ID, Code: p.Code}
			}
			return refs, err
		},
	}
}

// trainingTrainers joins trainers with the zones of their home sites.
func trainingTrainers(ctx context.Context, db postgres.DB) ([]training.TrainerRef, error) {
	sites, err := facility.ListSites(ctx, db)
	if err != nil {
		return nil, err
	}
	zone := make(map[ids.SiteID]string, len(sites))
	for _, s := range sites {
		zone[s.ID] = s.Zone
	}
	trainers, err := roster.ListTrainers(ctx, db)
	refs := make([]training.TrainerRef, len(trainers))
	for i, t := range trainers {
		refs[i] = training.TrainerRef{ID: t.ID, Code: t.Code, Zone: zone[t.HomeSiteID]}
	}
	return refs, err
}
