package consoletest

import (
	"context"
	"strings"
	"sync"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/frame"
)

// People are those who can sign in, one for each role; the password of each is Password.
var People = []frame.Person{
	{Login: "rosa", Name: "Rosa Quill", Role: "manager"},
	{Login: "ingo", Name: "Ingo Marsh", Role: "site-lead", SiteCode: "DRUM"},
	{Login: "dev", Name: "Dev Larkin", Role: "office"},
	{Login: "amina", Name: "Amina Thorne", Role: "trainer", SiteCode: "DRUM", TrainerCode: "AMINA"},
	{Login: "vera", Name: "Vera Lund", Role: "viewer"},
}

// Password is that of all People.
const Password = "four plain words here"

// Door lets People in, from memory.
type Door struct {
	mu       sync.Mutex
	sessions map[string]frame.Person
}

// NewDoor makes a door for People.
func NewDoor() *Door { return &Door{sessions: map[string]frame.Person{}} }

// SignIn implements frame.Door.
func (d *Door) SignIn(_ context.Context, login, password, _ string) (string, error) {
	for _, p := range People {
		if p.Login == login && password == Password {
			d.mu.Lock()
			defer d.mu.Unlock()
			secret := "session of " + login
			d.sessions[secret] = p
			return secret, nil
		}
	}
	return "", apperr.Unauthenticatedf("SIGN_IN_WRONG", "Name or password is not right.")
}

// Who implements frame.Door.
func (d *Door) Who(_ context.Context, secret string) (frame.Person, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	p, ok := d.sessions[secret]
	if !ok {
		return p, apperr.Unauthenticatedf("SESSION_UNKNOWN", "Sign in again.")
	}
	return p, nil
}

// SignOut implements frame.Door.
func (d *Door) SignOut(_ context.Context, secret string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.sessions, secret)
	return nil
}

// end forgets the session of a role, as happens when it was not used for long.
func (d *Door) end(role string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	for secret, p := range d.sessions {
		if p.Role == role {
			delete(d.sessions, secret)
			return true
		}
	}
	return false
}

// ChangePassword implements frame.Door; it only looks at the old one.
func (d *Door) ChangePassword(_ context.Context, _, old, _ string) error {
	if strings.TrimSpace(old) != Password {
		return apperr.Invalidf("PASSWORD_WRONG", "The password until now is not right.")
	}
	return nil
}

// Nobody implements frame.Door.
func (d *Door) Nobody(context.Context) (bool, error) { return false, nil }
