// Package enrollment keeps owners, dogs, programs and requests, and what is known of each dog: its vaccinations, the owner's
// answers, and what a person has decided about the work it takes.
//
// A Case is a request with all of that: what a planner needs to decide about it. What a dog takes is worked out by package
// workload from the case (need.go) and never stored, so that it follows every change of its inputs; only a person's word, an
// Override, is stored. Names, addresses and telephone numbers of owners are read by the functions that say so and go into no
// error and no log.
package enrollment

import (
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/workload"
)

// Owner is the person who brings a dog and takes it home. All of it is personal data.
type Owner struct {
	ID   ids.OwnerID `db:"id" json:"id"`
	Code string      `db:"code" json:"code"`
	Name string      `db:"name" json:"name"`
	// Email and Phone are empty when they are not known.
	Email string `db:"email" json:"email"`
	Phone string `db:"phone" json:"phone"`
	// Zone is the IANA time zone of the owner's home; empty when it is not known, and then the site's counts.
	Zone string `db:"zone" json:"zone"`
}

// Program is what a dog is taken in for.
type Program struct {
	ID   ids.ProgramID `db:"id" json:"id"`
	Code string        `db:"code" json:"code"`
	Name string        `db:"name" json:"name"`
	// Nights from arrival to graduation, 1 to 60.
	Nights int `db:"nights" json:"nights"`
	// SessionsADay, 1 to 8, of SessionMinutes, 5 to 60.
	SessionsADay   int `db:"sessions_a_day" json:"sessions_a_day"`
	SessionMinutes int `db:"session_minutes" json:"session_minutes"`
	// LeastAgeMonths is how old a dog must be on its arrival day; 0 takes any.
	LeastAgeMonths int `db:"least_age_months" json:"least_age_months"`
	// Goals are the skills that it teaches, with the level of trainer (1 to 3) that each asks for.
	Goals map[workload.Skill]int `db:"goals" json:"goals"`
}

// Sex of a dog, and whether it was neutered.
type Sex string

// The values of Sex. Only a Female comes into season.
const (
	Female   Sex = "female"
	Male     Sex = "male"
	Spayed   Sex = "spayed"
	Neutered Sex = "neutered"
)

// Dog is a dog. Length (nose to base of tail) and height (at the head) are measured as 9 CFR 3.6 does.
type Dog struct {
	ID      ids.DogID   `db:"id" json:"id"`
	Code    string      `db:"code" json:"code"`
	OwnerID ids.OwnerID `db:"owner_id" json:"owner_id"`
	Name    string      `db:"name" json:"name"`
	// Breed is as the owner says it; empty when unknown.
	Breed string `db:"breed" json:"breed"`
	// BreedTier is 1 to 6 as workload.BreedTiers lists them; 0 when unknown.
	BreedTier int           `db:"breed_tier" json:"breed_tier"`
	Hound     bool          `db:"hound" json:"hound"`
	Sex       Sex           `db:"sex" json:"sex"`
	Born      calendar.Date `db:"born" json:"born"`
	WeightG   int           `db:"weight_g" json:"weight_g"`
	LengthMM  int           `db:"length_mm" json:"length_mm"`
	HeightMM  int           `db:"height_mm" json:"height_mm"`
	// BiteLevel is a level of workload.Bites; empty when no bite is on record.
	BiteLevel string `db:"bite_level" json:"bite_level"`
	// SeasonStarted is the first day of a female's latest season, or of the next one that is expected; absent when unknown.
	SeasonStarted calendar.Date `db:"season_started" json:"season_started"`
	Note          string        `db:"note" json:"note"`
}

// States of a request.
const (
	StateOpen      = "open"
	StateWithdrawn = "withdrawn"
)

// Request is an owner's wish for a program.
type Request struct {
	ID        ids.RequestID `db:"id"`
	Code      string        `db:"code"`
	DogID     ids.DogID     `db:"dog_id"`
	ProgramID ids.ProgramID `db:"program_id"`
	// Window holds the possible arrival days; To is the day after the last of them.
	Window calendar.Span `db:"window_days"`
	// Wished is the arrival day that suits best, one of Window; absent when any does.
	Wished calendar.Date `db:"wished"`
	// Priority is 1 (first) to 5.
	Priority int  `db:"priority"`
	Deposit  bool `db:"deposit"`
	// AskedOn is the day from which the owner has waited.
	AskedOn calendar.Date `db:"asked_on"`
	// Household is the same text for requests whose dogs must come together; empty for a dog that comes alone.
	Household string `db:"household"`
	// State is StateOpen or StateWithdrawn. A request stays open when it has been placed: the planner knows the stays.
	State string `db:"state"`
	Note  string `db:"note"`
	// Sites are the sites that the owner accepts, in order of their IDs; without any the request cannot be placed.
	Sites []SiteChoice `db:"-"`
}

// SiteChoice is a site that an owner accepts.
type SiteChoice struct {
	SiteID ids.SiteID `db:"site_id" json:"site_id"`
	// TravelMinutes from the owner's home.
	TravelMinutes int `db:"travel_minutes" json:"travel_minutes"`
}

// Override is a person's word on what a dog takes. The latest one of a dog counts and none is changed or deleted.
type Override struct {
	DogID     ids.DogID `db:"dog_id" json:"dog_id"`
	DecidedAt time.Time `db:"decided_at" json:"decided_at"`
	DecidedBy string    `db:"decided_by" json:"decided_by"`
	// Minutes a day; 0 leaves what was worked out.
	Minutes int `db:"minutes" json:"minutes"`
	// Care class; empty leaves what was worked out. With 0 minutes as well, the word lifts an earlier one.
	Care   workload.Care `db:"care_class" json:"care_class"`
	Reason string        `db:"reason" json:"reason"`
}

// lifts reports whether the word only takes back an earlier one.
func (o Override) lifts() bool { return o.Minutes == 0 && o.Care == "" }

// Case is a request with all that is known of its dog.
type Case struct {
	Request Request
	Dog     Dog
	Program Program
	// Together holds the arrival days that suit every open request of the household, also those whose own window does not
	// touch the month asked for: Request.Window for a dog that comes alone, the zero Span when no day suits all.
	Together calendar.Span
	// Shots are the recorded vaccinations, by vaccine and day.
	Shots []Shot
	// Answers of the owner; a question that is missing was not answered.
	Answers map[workload.Question]int
	// Override is the latest word of a person; nil when there is none.
	Override *Override
}
