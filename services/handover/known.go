package handover

import (
	"context"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// StayRef is what this package needs to know of a stay and its dog.
type StayRef struct {
	ID          ids.StayID
	RequestID   ids.RequestID
	RequestCode string
	DogID       ids.DogID
	DogCode     string
	DogName     string
	OwnerID     ids.OwnerID
	OwnerName   string
	// OwnerPhone may be empty.
	OwnerPhone  string
	SiteID      ids.SiteID
	TrainerID   ids.TrainerID
	ProgramID   ids.ProgramID
	ProgramName string
	// Graduation is the day on which the stay ends.
	Graduation calendar.Date
}

// SiteRef is what this package needs to know of a site.
type SiteRef struct {
	ID         ids.SiteID
	Code, Name string
	// Zone is an IANA time zone.
	Zone string
}

// TrainerRef is what this package needs to know of a trainer.
type TrainerRef struct {
	ID         ids.TrainerID
	Code, Name string
}

// AreaRef is what this package needs to know of an area.
type AreaRef struct {
	ID     ids.AreaID
	SiteID ids.SiteID
	Code   string
	// Kind is quiet room, hall, yard or field.
	Kind       string
	DogsAtOnce int
}

// SkillRef is a skill that a program teaches.
type SkillRef struct {
	Code, Name, About string
}

// Known looks up what other packages keep; all fields are required.
type Known struct {
	// StayOf finds the live stay that is meant by the code of a dog or of its request: the one that it is there for, else the next one, else
	// the one that ended last. It returns NotFound when there is none.
	StayOf func(ctx context.Context, db postgres.DB, code string) (StayRef, error)
	// StaysOf returns the live stay of each of the requests that has one, and else the one that was live last.
	StaysOf func(ctx context.Context, db postgres.DB, requests []ids.RequestID) (map[ids.RequestID]StayRef, error)
	// Sites, Trainers and Areas list all of them.
	Sites    func(ctx context.Context, db postgres.DB) ([]SiteRef, error)
	Trainers func(ctx context.Context, db postgres.DB) ([]TrainerRef, error)
	Areas    func(ctx context.Context, db postgres.DB) ([]AreaRef, error)
	// Skills lists what a program teaches, from the first rung of the ladder up.
	Skills func(ctx context.Context, db postgres.DB, program ids.ProgramID) ([]SkillRef, error)
}

func (k Known) complete() bool {
	return k.StayOf != nil && k.StaysOf != nil && k.Sites != nil && k.Trainers != nil && k.Areas != nil && k.Skills != nil
}

// names are the codes and names that appointments are shown with.
type names struct {
	stays    map[ids.RequestID]StayRef
	sites    map[ids.SiteID]SiteRef
	trainers map[ids.TrainerID]TrainerRef
	areas    map[ids.AreaID]AreaRef
}

// readNames reads the names of what appointments point to.
func (k Known) readNames(ctx context.Context, db postgres.DB, requests []ids.RequestID) (names, error) {
	n := names{sites: map[ids.SiteID]SiteRef{}, trainers: map[ids.TrainerID]TrainerRef{}, areas: map[ids.AreaID]AreaRef{}}
	var err error
	if n.stays, err = k.StaysOf(ctx, db, requests); err != nil {
		return n, err
	}
	sites, err := k.Sites(ctx, db)
	if err != nil {
		return n, err
	}
	for _, s := range sites {
		n.sites[s.ID] = s
	}
	trainers, err := k.Trainers(ctx, db)
	if err != nil {
		return n, err
	}
	for _, t := range trainers {
		n.trainers[t.ID] = t
	}
	areas, err := k.Areas(ctx, db)
	for _, a := range areas {
		n.areas[a.ID] = a
	}
	return n, err
}

// site finds a site by its code, or returns NotFound.
func (n names) site(code string) (SiteRef, error) {
	for _, s := range n.sites {
		if s.Code == code {
			return s, nil
		}
	}
	return SiteRef{}, apperr.NotFoundf("SITE_UNKNOWN", "there is no site with the code %q: `longlead export sites` lists them", code)
}

// trainer finds a trainer by code, or returns NotFound.
func (n names) trainer(code string) (TrainerRef, error) {
	for _, t := range n.trainers {
		if t.Code == code {
			return t, nil
		}
	}
	return TrainerRef{}, apperr.NotFoundf("TRAINER_UNKNOWN", "there is no trainer with the code %q: `longlead export trainers` lists them", code)
}

// area finds an area of a site by code, or returns NotFound.
func (n names) area(site SiteRef, code string) (AreaRef, error) {
	for _, a := range n.areas {
		if a.SiteID == site.ID && a.Code == code {
			return a, nil
		}
	}
	return AreaRef{}, apperr.NotFoundf("AREA_UNKNOWN", "%s has no area with the code %q: `longlead export areas` lists them", site.Code, code)
}
