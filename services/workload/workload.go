// Package workload works out what a dog takes: trainer minutes on a working day, the trainer skills it asks for and who may
// handle it, each with its reasons; how training goes: pass marks, learning curves and readiness; and when it is too hot to work
// outdoors.
//
// The numbers are a starting point for people, not a verdict about a dog. Nothing here accepts or refuses one: where a dog
// could hurt somebody the answer carries cautions and NeedsReview, and a person decides. A trainer's word (Override) always
// replaces what was worked out, and its reason is kept. Fixed inputs give the same answer, in the same order, every time.
package workload

import (
	"fmt"
	"slices"
)

// Care is the care class of a dog: who may handle it. It speaks of handlers, not of the dog's temper. The zero value means
// "not stated".
type Care string

// The care classes, from anybody to few.
const (
	// Open means any trainer.
	Open Care = "open"
	// Guarded means experienced handlers.
	Guarded Care = "guarded"
	// Restricted means only trainers who are cleared for it.
	Restricted Care = "restricted"
)

// Cares lists the care classes, mildest first.
func Cares() []Care { return []Care{Open, Guarded, Restricted} }

// IsValid reports whether c is one of the care classes.
func (c Care) IsValid() bool { return slices.Contains(Cares(), c) }

// rank orders care classes: 0 open (or not stated), 1 guarded, 2 restricted.
func (c Care) rank() int { return max(0, slices.Index(Cares(), c)) }

// Stricter returns the class that fewer people may handle.
func (c Care) Stricter(other Care) Care {
	if other.rank() > c.rank() {
		return other
	}
	return c
}

// Skill is something a dog is taught and a trainer holds.
type Skill string

// The skills.
const (
	// Heel is walking beside the handler on a loose lead.
	Heel Skill = "heel"
	// Hold is staying in a position until released.
	Hold Skill = "hold"
	// Recall is coming when called.
	Recall Skill = "recall"
	// Distance is working away from the handler.
	Distance Skill = "distance"
	// Nerves is confidence: with people, noises, places.
	Nerves Skill = "nerves"
	// Reactivity is staying calm at the sight of other dogs.
	Reactivity Skill = "reactivity"
)

// Skills lists the skills in the order in which they are shown.
func Skills() []Skill { return []Skill{Heel, Hold, Recall, Distance, Nerves, Reactivity} }

// IsValid reports whether s is one of the skills.
func (s Skill) IsValid() bool { return slices.Contains(Skills(), s) }

// LowestLevel and HighestLevel bound the levels of a skill. A skill that is absent from a map is not asked for.
const (
	LowestLevel  = 1
	HighestLevel = 3
)

// Where numbers come from when nobody published them.
const (
	sourcePractice = "common practice, no source"
	sourceOurs     = "our own setting, no source"
)

// Logged sums up training sessions that were scored. The zero value means none.
type Logged struct {
	// Sessions is how many sessions were scored.
	Sessions int
	// MeanScore is their mean score in percent of what was asked, 0 to 100.
	MeanScore int
}

// Override is a person's word that replaces what was worked out. Fields that are zero leave it as it was.
type Override struct {
	// Minutes a day; 0 leaves what was worked out.
	Minutes int
	// Care class; empty leaves what was worked out.
	Care Care
	// Skills replace the level of the skills that they name; level 0 says that the skill is not needed.
	Skills map[Skill]int
	// Reason is kept with the answer and must be given.
	Reason string
}

// Input is what is known of a dog and its program.
type Input struct {
	// AgeMonths is the dog's age in months; 0 means unknown.
	AgeMonths int
	// WeightGrams is the dog's weight; 0 means unknown.
	WeightGrams int
	// BreedTier is the tier of Coren's table, 1 to 6; 0 means unknown.
	BreedTier int
	// Hound marks a scent or sight hound.
	Hound bool
	// Goals are the skills that the program teaches with the trainer level that each asks for.
	Goals map[Skill]int
	// SessionsPerDay is how many sessions the dog has on a working day, 1 to 8.
	SessionsPerDay int
	// SessionMinutes is the length of one session, 5 to 60.
	SessionMinutes int
	// Answers are the owner's answers to Questions, 0 to 4. A question that is missing was not answered.
	Answers map[Question]int
	// BiteLevel is the worst bite on record on the scale of Bites: "" none on record, "1", "2", "3", "3b", "4", "5", "6".
	BiteLevel string
	// Logged sums up scored sessions, of this stay or an earlier one.
	Logged Logged
	// Observed is the pace that learning curves show (Outlook.Observed). With sessions it takes the place of Logged, which knows
	// scores but not how they grew. The zero value means none.
	Observed Observed
	// Override is the latest word of a person; nil means none.
	Override *Override
}

// Kind says what a reason changes.
type Kind string

// The kinds of reasons.
const (
	// Minutes reasons carry minutes a day. Together they add up to Need.Minutes.
	Minutes Kind = "minutes"
	// SkillLevel reasons carry the level that a skill is asked for at.
	SkillLevel Kind = "skill"
	// CareClass reasons carry a care class: 0 open, 1 guarded, 2 restricted.
	CareClass Kind = "care"
)

// Reason is one cause of the answer.
type Reason struct {
	// Factor is what it is about, such as "sessions" or "bite level 2".
	Factor string
	// Kind says what Effect counts.
	Kind Kind
	// Skill is the skill that a SkillLevel reason is about; empty otherwise.
	Skill Skill
	// Effect is minutes with a sign, a level, or a care class as its rank.
	Effect int
	// Text is the reason in words.
	Text string
	// Source is the publication, or says that there is none.
	Source string
}

// EffectText prints the effect for people: "+5 minutes", "heel at level 2", "guarded".
func (r Reason) EffectText() string {
	switch r.Kind {
	case SkillLevel:
		return fmt.Sprintf("%s at level %d", r.Skill, r.Effect)
	case CareClass:
		return string(Cares()[r.Effect])
	default:
		return fmt.Sprintf("%+d minutes", r.Effect)
	}
}

// Need is what a dog takes.
type Need struct {
	// Minutes are trainer minutes on a working day.
	Minutes int
	// CoverMinutes are minutes on the trainer's day off: the care and one session block, from whoever covers.
	CoverMinutes int
	// Care says who may handle the dog.
	Care Care
	// Skills are the least levels its trainer must hold. Skills that are not needed are absent.
	Skills map[Skill]int
	// Reasons say why, in a fixed order.
	Reasons []Reason
	// Cautions are for people to read before the dog is taken in, in a fixed order.
	Cautions []string
	// NeedsReview says that a person must look at the request before it is placed. Nothing is decided by it.
	NeedsReview bool
}
