// Package people knows who signs in to the console: their logins, roles and passwords, their open sign-ins, and the failed ones.
//
// A sign-in is a secret of 256 random bits that the browser keeps; here is only its SHA-256. It ends twelve hours after it was last used and thirty
// days after it was made, whichever comes first, and at once when the person is shut out or gets another password (session.go).
//
// Passwords are kept as argon2id hashes (password.go). A sign-in with a login that does not exist takes the same work as one with a wrong
// password, so that time does not tell who is here. Failed ones are counted for each login and for each address they came from, and the next
// one has to wait longer and longer, at most a quarter of an hour (throttle.go): guessing stays slow, and nobody is locked out for good.
//
// What a role may do is for package rpc to say. This package says only which role a person has, and keeps one rule: where there is a manager who
// is let in, one remains. Sites and trainers are codes here; whether they exist is asked of who knows them.
package people

import (
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
)

// The roles, as package rpc knows them.
const (
	Manager  = "manager"
	SiteLead = "site-lead"
	Trainer  = "trainer"
	Office   = "office"
	Viewer   = "viewer"
)

// Roles are all of them, in the order in which they are offered.
func Roles() []string { return []string{Manager, SiteLead, Trainer, Office, Viewer} }

// Person is somebody who signs in.
type Person struct {
	ID ids.PersonID `db:"id" json:"-"`
	// Login is in lower case.
	Login string `db:"login" json:"login"`
	// Name is what others see.
	Name string `db:"name" json:"name"`
	// Role is one of Roles.
	Role string `db:"role" json:"role"`
	// SiteCode is the site that is theirs; empty for none.
	SiteCode string `db:"site_code" json:"site_code,omitempty"`
	// TrainerCode is the trainer that they are; empty for none.
	TrainerCode string `db:"trainer_code" json:"trainer_code,omitempty"`
	// MustChange says that they are to choose a password of their own before anything else.
	MustChange bool `db:"must_change" json:"-"`
}

// Listed is a person with what a list says of them. Times that are absent are nil.
type Listed struct {
	Person
	MadeAt     time.Time  `db:"made_at"`
	SeenAt     *time.Time `db:"seen_at"`
	DisabledAt *time.Time `db:"disabled_at"`
}

var goodLogin = regexp.MustCompile(`^[a-z0-9][a-z0-9._@+-]{0,59}$`)

// CleanLogin is a login as it is kept: without blanks around it, in lower case.
func CleanLogin(text string) string { return strings.ToLower(strings.TrimSpace(text)) }

const mostName, mostCode = 100, 100

// check says what is wrong with who somebody is to be. It does not know which sites and trainers there are.
func (p Person) check() error {
	var fields []apperr.Field
	if !goodLogin.MatchString(p.Login) {
		fields = append(fields, apperr.Field{Path: "login", Rule: "must be a letter or digit, then letters, digits and . _ @ + -, 60 at most", Remedy: "write one such as jo.marsh"})
	}
	if fault := nameFault(p.Name); fault != "" {
		fields = append(fields, apperr.Field{Path: "name", Rule: fault, Remedy: "write the name as others are to see it"})
	}
	if !slices.Contains(Roles(), p.Role) {
		fields = append(fields, apperr.Field{Path: "role", Rule: "must be a role", Remedy: "write one of " + strings.Join(Roles(), ", ")})
	}
	for path, code := range map[string]string{"site_code": p.SiteCode, "trainer_code": p.TrainerCode} {
		if len(code) > mostCode || !utf8.ValidString(code) || strings.ContainsFunc(code, unicode.IsControl) {
			fields = append(fields, apperr.Field{Path: path, Rule: "is no code", Remedy: "take one from the list, or leave it empty"})
		}
	}
	if len(fields) == 0 {
		return nil
	}
	slices.SortFunc(fields, func(a, b apperr.Field) int { return strings.Compare(a.Path, b.Path) })
	return apperr.Invalidf("INVALID_FIELD", "This person cannot be kept so.").With(fields...)
}

func nameFault(name string) string {
	switch {
	case strings.TrimSpace(name) == "":
		return "must not be empty"
	case utf8.RuneCountInString(name) > mostName:
		return "must have at most 100 characters"
	case !utf8.ValidString(name) || strings.ContainsFunc(name, unicode.IsControl):
		return "must be one line of text"
	}
	return ""
}

func unknownPerson(login string) error {
	return apperr.NotFoundf("PERSON_UNKNOWN", "There is nobody with the login %q: `longlead people list` has them all.", shorten(login))
}

// shorten keeps a message readable whatever was sent.
func shorten(text string) string {
	if len(text) > 60 {
		text = strings.ToValidUTF8(text[:60], "") + "…"
	}
	return text
}
