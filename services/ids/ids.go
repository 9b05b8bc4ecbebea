// Package ids gives every kind of thing its own identifier type, so that the compiler refuses a dog where a site is asked
// for. An identifier is a UUID (version 7 when we mint it, so that rows written together lie together), a string in texts and
// an SQL uuid in tables.
package ids

import (
	"database/sql/driver"
	"fmt"

	"github.com/google/uuid"
)

// ID is the identifier of one kind of thing. Use the named types below, such as SiteID. IDs compare with == and work as map
// keys. The zero value means "absent": it prints as the empty string and is stored as NULL. A new ID is made by conversion:
// SiteID(mint()).
type ID[K kind] [16]byte

// kind names what an ID identifies, in words for an error message.
type kind interface{ label() string }

type (
	// SiteID identifies a site.
	SiteID = ID[site]
	// RunID identifies a run, a kennel enclosure.
	RunID = ID[run]
	// ClosureID identifies a closure of a site, a run or an area.
	ClosureID = ID[closure]
	// AreaID identifies a training area.
	AreaID = ID[area]
	// TrainerID identifies a trainer.
	TrainerID = ID[trainer]
	// AbsenceID identifies an absence of a trainer.
	AbsenceID = ID[absence]
	// LoanID identifies the loan of a trainer to another site.
	LoanID = ID[loan]
	// ProgramID identifies a training program.
	ProgramID = ID[program]
	// OwnerID identifies an owner.
	OwnerID = ID[owner]
	// DogID identifies a dog.
	DogID = ID[dog]
	// RequestID identifies a request for a stay.
	RequestID = ID[request]
	// VaccinationID identifies a recorded vaccination.
	VaccinationID = ID[vaccination]
	// StayID identifies a stay, a placed request.
	StayID = ID[stay]
	// PlanID identifies a month plan.
	PlanID = ID[plan]
	// DayPlanID identifies a plan of a site's day.
	DayPlanID = ID[dayPlan]
	// IsolationID identifies nights that an ill dog spends apart.
	IsolationID = ID[isolation]
	// MoveStudyID identifies a study of what moving promises is worth.
	MoveStudyID = ID[moveStudy]
	// HouseholdID identifies dogs that must come together.
	HouseholdID = ID[household]
	// PolicyID identifies a policy, the points a plan is judged by.
	PolicyID = ID[policy]
	// SkillID identifies a skill of the ladder.
	SkillID = ID[skill]
	// SessionID identifies a logged training session.
	SessionID = ID[session]
	// FeedID identifies a trainer's calendar feed.
	FeedID = ID[feed]
	// LetterID identifies a letter to an owner.
	LetterID = ID[letter]
	// AppointmentID identifies an appointment with an owner.
	AppointmentID = ID[appointment]
	// OfferID identifies another time that an owner may choose.
	OfferID = ID[offer]
	// LinkID identifies a private address of an owner's page.
	LinkID = ID[link]
	// PersonID identifies a person who signs in.
	PersonID = ID[person]
)

type (
	site        struct{}
	run         struct{}
	closure     struct{}
	area        struct{}
	trainer     struct{}
	absence     struct{}
	loan        struct{}
	program     struct{}
	owner       struct{}
	dog         struct{}
	request     struct{}
	vaccination struct{}
	stay        struct{}
	plan        struct{}
	dayPlan     struct{}
	isolation   struct{}
	moveStudy   struct{}
	household   struct{}
	policy      struct{}
	skill       struct{}
	session     struct{}
	feed        struct{}
	letter      struct{}
	appointment struct{}
	offer       struct{}
	link        struct{}
	person      struct{}
)

func (site) label() string        { return "site" }
func (run) label() string         { return "run" }
func (closure) label() string     { return "closure" }
func (area) label() string        { return "training area" }
func (trainer) label() string     { return "trainer" }
func (absence) label() string     { return "absence" }
func (loan) label() string        { return "loan" }
func (program) label() string     { return "program" }
func (owner) label() string       { return "owner" }
func (dog) label() string         { return "dog" }
func (request) label() string     { return "request" }
func (vaccination) label() string { return "vaccination" }
func (stay) label() string        { return "stay" }
func (plan) label() string        { return "plan" }
func (dayPlan) label() string     { return "day plan" }
func (isolation) label() string   { return "isolation" }
func (moveStudy) label() string   { return "study of moves" }
func (household) label() string   { return "household" }
func (policy) label() string      { return "policy" }
func (skill) label() string       { return "skill" }
func (session) label() string     { return "session" }
func (feed) label() string        { return "calendar feed" }
func (letter) label() string      { return "letter" }
func (appointment) label() string { return "appointment" }
func (offer) label() string       { return "offered time" }
func (link) label() string        { return "private link" }
func (person) label() string      { return "person" }

// Parse reads an identifier in its usual form of 36 characters: Parse[SiteID]("0193..."). The empty text and the UUID of
// only zeros are errors, because a caller that parses wants an identifier; UnmarshalText reads the empty text as absent.
func Parse[T any, P interface {
	*T
	parse(text string) error
}](text string) (T, error) {
	var id T
	err := P(&id).parse(text)
	return id, err
}

// MustParse is Parse for tests and tables written by hand: it panics on a text that is no identifier.
func MustParse[T any, P interface {
	*T
	parse(text string) error
}](text string) T {
	id, err := Parse[T, P](text)
	if err != nil {
		panic("ids: " + err.Error())
	}
	return id
}

func (id *ID[K]) parse(text string) error {
	var k K
	// uuid.Parse also takes braces, a urn prefix and bare digits. One spelling keeps keys comparable as texts.
	u, err := uuid.Parse(text)
	if err != nil || len(text) != len(uuid.Nil.String()) {
		return fmt.Errorf("%s ID %q: not an identifier of the form 01234567-89ab-7def-8123-456789abcdef", k.label(), text)
	}
	if u == uuid.Nil {
		return fmt.Errorf("%s ID %q: the identifier of zeros stands for nothing", k.label(), text)
	}
	*id = ID[K](u)
	return nil
}

// IsZero reports whether the identifier is absent.
func (id ID[K]) IsZero() bool { return id == ID[K]{} }

// UUID returns the identifier without its kind.
func (id ID[K]) UUID() uuid.UUID { return uuid.UUID(id) }

// String prints the identifier in lower case with hyphens, the empty string when it is absent.
func (id ID[K]) String() string {
	if id.IsZero() {
		return ""
	}
	return uuid.UUID(id).String()
}

// Compare orders identifiers by their bytes, for slices.SortFunc. Identifiers minted later sort later; absent sorts first.
func (id ID[K]) Compare(other ID[K]) int {
	for i := range id {
		if id[i] != other[i] {
			return int(id[i]) - int(other[i])
		}
	}
	return 0
}

// MarshalText writes what String prints.
func (id ID[K]) MarshalText() ([]byte, error) { return []byte(id.String()), nil }

// UnmarshalText reads what MarshalText writes: the empty text is the absent identifier.
func (id *ID[K]) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*id = ID[K]{}
		return nil
	}
	return id.parse(string(text))
}

// Value stores the identifier in an SQL uuid column; absent is NULL.
func (id ID[K]) Value() (driver.Value, error) {
	if id.IsZero() {
		return nil, nil
	}
	return id.String(), nil
}

// Scan reads an SQL uuid: a text, 16 bytes or NULL, which is the absent identifier.
func (id *ID[K]) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*id = ID[K]{}
		return nil
	case string:
		return id.parse(v)
	case [16]byte:
		*id = v
		return nil
	case []byte:
		if len(v) == len(id) {
			copy(id[:], v)
			return nil
		}
		return id.parse(string(v))
	}
	var k K
	return fmt.Errorf("scan a %s ID: cannot read a %T", k.label(), src)
}
