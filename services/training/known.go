package training

import (
	"context"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// DogRef is what this package needs to know of a dog.
type DogRef struct {
	ID   ids.DogID
	Code string
	Born calendar.Date
}

// TrainerRef is what this package needs to know of a trainer.
type TrainerRef struct {
	ID   ids.TrainerID
	Code string
	// Zone is the IANA time zone of the home site: it says on which day a session was.
	Zone string
}

// ProgramRef is what this package needs to know of a program.
type ProgramRef struct {
	ID   ids.ProgramID
	Code string
}

// Known looks up what other packages keep; all fields are required. A code or ID that is unknown is absent from the answer.
type Known struct {
	DogsByCode func(ctx context.Context, db postgres.DB, codes []string) ([]DogRef, error)
	DogsByID   func(ctx context.Context, db postgres.DB, dogs []ids.DogID) ([]DogRef, error)
	// Trainers and Programs list all of them.
	Trainers func(ctx context.Context, db postgres.DB) ([]TrainerRef, error)
	Programs func(ctx context.Context, db postgres.DB) ([]ProgramRef, error)
}

func (k Known) complete() bool {
	return k.DogsByCode != nil && k.DogsByID != nil && k.Trainers != nil && k.Programs != nil
}

// dog finds the dog with a code, or returns NotFound.
func (k Known) dog(ctx context.Context, db postgres.DB, code string) (DogRef, error) {
	dogs, err := k.DogsByCode(ctx, db, []string{code})
	if err != nil {
		return DogRef{}, err
	}
	if len(dogs) == 0 {
		return DogRef{}, apperr.NotFoundf("DOG_UNKNOWN", "there is no dog with the code %q: `longlead export dogs` lists them", code)
	}
	return dogs[0], nil
}

// trainer finds the trainer with a code, or returns NotFound. Without a code it is the one whose code is the caller's name.
func (k Known) trainer(ctx context.Context, db postgres.DB, code, caller string) (TrainerRef, error) {
	trainers, err := k.Trainers(ctx, db)
	if err != nil {
		return TrainerRef{}, err
	}
	wanted := code
	if code == "" {
		wanted = caller
	}
	for _, t := range trainers {
		if t.Code == wanted {
			return t, nil
		}
	}
	if code == "" {
		return TrainerRef{}, apperr.InvalidField("trainer_code", "is empty, and no trainer has the code "+caller, "name the trainer who worked with the dog")
	}
	return TrainerRef{}, apperr.NotFoundf("TRAINER_UNKNOWN", "there is no trainer with the code %q: `longlead export trainers` lists them", code)
}

// program finds the program with a code, or returns NotFound.
func (k Known) program(ctx context.Context, db postgres.DB, code string) (ProgramRef, error) {
	programs, err := k.Programs(ctx, db)
	if err != nil {
		return ProgramRef{}, err
	}
	for _, p := range programs {
		if p.Code == code {
			return p, nil
		}
	}
	return ProgramRef{}, apperr.NotFoundf("PROGRAM_UNKNOWN", "there is no program with the code %q: `longlead export programs` lists them", code)
}

// skillOf finds the skill with a code, or returns NotFound with the codes that there are.
func skillOf(skills []Skill, code string) (Skill, error) {
	codes := make([]string, len(skills))
	for i, s := range skills {
		if s.Code == code {
			return s, nil
		}
		codes[i] = s.Code
	}
	if len(skills) == 0 {
		return Skill{}, apperr.NotFoundf("SKILL_UNKNOWN", "there is no skill with the code %q, and no other yet: import the school's skills first", code)
	}
	return Skill{}, apperr.NotFoundf("SKILL_UNKNOWN", "there is no skill with the code %q: the skills are %s", code, strings.Join(codes, ", "))
}

// dayOf is the civil day of an instant in a trainer's zone.
func (t TrainerRef) dayOf(at time.Time) (calendar.Date, error) {
	zone, err := calendar.LoadZone(t.Zone)
	if err != nil {
		return calendar.Date{}, apperr.Preconditionf("ZONE_UNKNOWN", "The home site of trainer %s has a time zone that is not known: correct the site.", t.Code).Because(err)
	}
	return calendar.DateIn(at, zone), nil
}

// codes are the names that people know what a session points to by.
type codes struct {
	dogs     map[ids.DogID]string
	trainers map[ids.TrainerID]string
	skills   map[ids.SkillID]string
}

// namesOf reads the codes of the dogs, trainers and skills of sessions.
func namesOf(ctx context.Context, db postgres.DB, known Known, kept []Kept) (codes, error) {
	names := codes{map[ids.DogID]string{}, map[ids.TrainerID]string{}, map[ids.SkillID]string{}}
	var wanted []ids.DogID
	for _, k := range kept {
		if _, ok := names.dogs[k.DogID]; !ok {
			names.dogs[k.DogID] = ""
			wanted = append(wanted, k.DogID)
		}
	}
	dogs, err := known.DogsByID(ctx, db, wanted)
	if err != nil {
		return names, err
	}
	for _, d := range dogs {
		names.dogs[d.ID] = d.Code
	}
	trainers, err := known.Trainers(ctx, db)
	if err != nil {
		return names, err
	}
	for _, t := range trainers {
		names.trainers[t.ID] = t.Code
	}
	skills, err := ListSkills(ctx, db)
	for _, s := range skills {
		names.skills[s.ID] = s.Code
	}
	return names, err
}
