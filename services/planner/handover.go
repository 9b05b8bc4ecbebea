package planner

import (
	"context"
	"errors"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/training"
)

// HandoverKnown hands stays, places, trainers and skills over to the handover service, which does not know who keeps them.
func HandoverKnown() handover.Known {
	return handover.Known{StayOf: handoverStayOf, StaysOf: handoverStaysOf, Sites: handoverSites, Trainers: handoverTrainers, Areas: handoverAreas, Skills: handoverSkills}
}

// handoverStayOf finds the stay that is meant by the code of a dog or request: one that has not ended, or else the latest.
func handoverStayOf(ctx context.Context, db postgres.DB, code string) (handover.StayRef, error) {
	stay, err := findMendable(ctx, db, code)
	if errors.Is(err, apperr.NotFound) {
		stay, err = findLatest(ctx, db, code)
	}
	if err != nil {
		return handover.StayRef{}, err
	}
	refs, err := handoverStays(ctx, db, []Stay{stay})
	return refs[stay.RequestID], err
}

// findLatest finds the latest stay of a dog or request, whatever became of it.
func findLatest(ctx context.Context, db postgres.DB, code string) (Stay, error) {
	requests, err := enrollment.ListRequestsByCode(ctx, db, code)
	if err != nil {
		return Stay{}, err
	}
	stays, err := listLatestOf(ctx, db, requests)
	if err != nil {
		return Stay{}, err
	}
	if len(stays) == 0 {
		return Stay{}, apperr.NotFoundf("STAY_UNKNOWN", "no dog or request %q has a promised stay: `longlead export stays` lists them", code)
	}
	return stays[0], nil
}

func handoverStaysOf(ctx context.Context, db postgres.DB, requests []ids.RequestID) (map[ids.RequestID]handover.StayRef, error) {
	if len(requests) == 0 {
		return map[ids.RequestID]handover.StayRef{}, nil // names of sites and trainers alone are asked for
	}
	stays, err := listLatestOf(ctx, db, requests)
	if err != nil {
		return nil, err
	}
	return handoverStays(ctx, db, stays)
}

// handoverStays joins stays with what is known of their dogs.
func handoverStays(ctx context.Context, db postgres.DB, stays []Stay) (map[ids.RequestID]handover.StayRef, error) {
	cases, err := enrollment.ListCasesByRequest(ctx, db, requestsOf(stays))
	if err != nil {
		return nil, err
	}
	by := make(map[ids.RequestID]enrollment.Case, len(cases))
	for _, c := range cases {
		by[c.Request.ID] = c
	}
	dogs := make([]ids.DogID, len(cases))
	for i, c := range cases {
		dogs[i] = c.Dog.ID
	}
	owners, err := enrollment.ListOwnersByDog(ctx, db, dogs)
	if err != nil {
		return nil, err
	}
	out := make(map[ids.RequestID]handover.StayRef, len(stays))
	for _, s := range stays {
		c := by[s.RequestID]
		owner := owners[c.Dog.ID]
		out[s.RequestID] = handover.StayRef{ID: s.ID, RequestID: s.RequestID, RequestCode: c.Request.Code, DogID: c.Dog.ID, DogCode: c.Dog.Code, DogName: c.Dog.Name,
			OwnerID: c.Dog.OwnerID, OwnerName: owner.Name, OwnerPhone: owner.Phone, SiteID: s.SiteID, TrainerID: s.TrainerID, ProgramID: c.Program.ID, ProgramName: c.Program.Name, Graduation: s.Nights.To}
	}
	return out, nil
}

func handoverSites(ctx context.Context, db postgres.DB) ([]handover.SiteRef, error) {
	sites, err := facility.ListSites(ctx, db)
	refs := make([]handover.SiteRef, len(sites))
	for i, s := range sites {
		refs[i] = handover.SiteRef{ID: s.ID, Code: s.Code, Name: s.Name, Zone: s.Zone}
	}
	return refs, err
}

func handoverTrainers(ctx context.Context, db postgres.DB) ([]handover.TrainerRef, error) {
	trainers, err := roster.ListTrainers(ctx, db)
	refs := make([]handover.TrainerRef, len(trainers))
	for i, t := range trainers {
		refs[i] = handover.TrainerRef{ID: t.ID, Code: t.Code, Name: t.Name}
	}
	return refs, err
}

func handoverAreas(ctx context.Context, db postgres.DB) ([]handover.AreaRef, error) {
	areas, err := facility.ListAreas(ctx, db)
	refs := make([]handover.AreaRef, len(areas))
	for i, a := range areas {
		refs[i] = handover.AreaRef{ID: a.ID, SiteID: a.SiteID, Code: a.Code, Kind: a.Kind, DogsAtOnce: a.DogsAtOnce}
	}
	return refs, err
}

// handoverSkills are the skills of which a program asks something.
func handoverSkills(ctx context.Context, db postgres.DB, program ids.ProgramID) ([]handover.SkillRef, error) {
	targets, err := training.ListTargetsOf(ctx, db, program)
	if err != nil {
		return nil, err
	}
	skills, err := training.ListSkills(ctx, db)
	if err != nil {
		return nil, err
	}
	by := make(map[ids.SkillID]training.Skill, len(skills))
	for _, k := range skills {
		by[k.ID] = k
	}
	refs := make([]handover.SkillRef, len(targets))
	for i, t := range targets {
		refs[i] = handover.SkillRef{Code: by[t.SkillID].Code, Name: by[t.SkillID].Name, About: by[t.SkillID].About}
	}
	return refs, nil
}
