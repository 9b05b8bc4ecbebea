package assembly

import (
	"context"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
)

// rosterSites and enrollmentSites hand the sites over to services that do not know the facility service.
func rosterSites(ctx context.Context, db postgres.DB) ([]roster.SiteRef, error) {
	sites, err := facility.ListSites(ctx, db)
	refs := make([]roster.SiteRef, len(sites))
	for i, s := range sites {
		refs[i] = roster.SiteRef{ID: s.ID, Code: s.Code, Zone: s.Zone}
	}
	return refs, err
}

func enrollmentSites(ctx context.Context, db postgres.DB) ([]enrollment.SiteRules, error) {
	sites, err := facility.ListSites(ctx, db)
	rules := make([]enrollment.SiteRules, len(sites))
	for i, s := range sites {
		rules[i] = enrollment.SiteRules{ID: s.ID, Code: s.Code, RabiesWaitingDays: s.RabiesWaitingDays, RequiredVaccines: s.RequiredVaccines}
	}
	return rules, err
}

// siteCodes and trainerCodes say what may be somebody's who signs in.
func siteCodes(ctx context.Context, db postgres.DB) ([]string, error) {
	sites, err := facility.ListSites(ctx, db)
	codes := make([]string, len(sites))
	for i, s := range sites {
		codes[i] = s.Code
	}
	return codes, err
}

func trainerCodes(ctx context.Context, db postgres.DB) ([]string, error) {
	trainers, err := roster.ListTrainers(ctx, db)
	codes := make([]string, len(trainers))
	for i, t := range trainers {
		codes[i] = t.Code
	}
	return codes, err
}
