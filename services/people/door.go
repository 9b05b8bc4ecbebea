package people

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// DoorDeps is what a Door needs; all fields are required.
type DoorDeps struct {
	Pool *postgres.Pool
	Mint ids.Mint
	Now  func() time.Time
	Log  *slog.Logger
}

// Door lets people in by login and password. It is safe for concurrent use.
type Door struct {
	deps   DoorDeps
	hasher hasher
	// nobody makes, once, the hash of a password that nobody has: what is checked for a login that does not exist.
	nobody func() (string, error)
}

// NewDoor makes a door. It panics when a dependency is missing, which is a fault in the wiring.
func NewDoor(d DoorDeps) *Door {
	if d.Pool == nil || d.Mint == nil || d.Now == nil || d.Log == nil {
		panic("people.NewDoor: all dependencies are required")
	}
	return &Door{deps: d, hasher: theHasher, nobody: sync.OnceValues(func() (string, error) {
		// Made with the parameters in use, so that it takes the time that theirs take.
		return newHasher().hash(context.Background(), newSecret())
	})}
}

func (d *Door) now() time.Time { return d.deps.Now().UTC().Truncate(time.Microsecond) }

// notRight is the one answer to a wrong login, a wrong password and a person who is shut out.
func notRight() error {
	return apperr.Unauthenticatedf("SIGN_IN_WRONG", "Login and password do not go together. Who has forgotten a password gets another one from a manager.")
}

// Anybody reports whether there is somebody who could sign in.
func (d *Door) Anybody(ctx context.Context) (bool, error) { return anybody(ctx, d.deps.Pool) }

// SignIn begins a session for who has this login and password. from is the address that the request came from. The secret is for the
// browser; it can be read nowhere else. Errors: Unauthenticated SIGN_IN_WRONG, Unavailable SIGN_IN_HELD after too many failures and
// SIGN_IN_BUSY.
func (d *Door) SignIn(ctx context.Context, login, password, from string) (secret string, p Person, err error) {
	login = CleanLogin(login)
	known, err := d.try(ctx, login, password, from)
	if err != nil {
		return "", Person{}, err
	}
	secret = newSecret()
	now := d.now()
	err = postgres.InTx(ctx, d.deps.Pool, func(tx postgres.Tx) (err error) {
		// Between the check and now somebody may have shut the person out or changed the password: look again, under lock.
		p, err = lockUnchanged(ctx, tx, known)
		if err != nil {
			return err
		}
		if err := forgive(ctx, tx, loginKey(login), sourceKey(from)); err != nil {
			return err
		}
		return insertSession(ctx, tx, hashSecret(secret), p.ID, openSession(now))
	})
	if postgres.NoRows(err) {
		err = notRight()
	}
	if err != nil {
		return "", Person{}, err
	}
	d.deps.Log.InfoContext(ctx, "somebody signed in", "person", p.ID.String())
	return secret, p, nil
}

// secretPerson is a person with the hash of their password.
type secretPerson struct {
	ID       ids.PersonID `db:"id"`
	Hash     string       `db:"password_hash"`
	Disabled bool         `db:"disabled"`
}

// try counts an attempt as failed, then checks it. Counting comes first, so that many at once are slowed down as well; who succeeds is forgiven.
func (d *Door) try(ctx context.Context, login, password, from string) (secretPerson, error) {
	now := d.now()
	if err := d.count(ctx, login, from, now); err != nil {
		return secretPerson{}, err
	}
	nobody, err := d.nobody()
	if err != nil {
		return secretPerson{}, err
	}
	known, err := findSecret(ctx, d.deps.Pool, login)
	missing := postgres.NoRows(err)
	if missing {
		known, err = secretPerson{Hash: nobody}, nil
	}
	if err != nil {
		return secretPerson{}, err
	}
	if len(password) > 4*MostPassword {
		password = "" // no password is so long; the work is done all the same
	}
	ok, err := d.hasher.matches(ctx, password, known.Hash)
	if err != nil {
		return secretPerson{}, err
	}
	if missing || known.Disabled || !ok {
		d.deps.Log.InfoContext(ctx, "a sign-in failed", "person", known.ID.String())
		return secretPerson{}, notRight()
	}
	return known, nil
}

// count notes an attempt, or refuses it where it comes too early.
func (d *Door) count(ctx context.Context, login, from string, now time.Time) error {
	return postgres.InTx(ctx, d.deps.Pool, func(tx postgres.Tx) error {
		if err := forgetOld(ctx, tx, now.Add(-forgetAfter)); err != nil {
			return err
		}
		for _, k := range []struct {
			key  [32]byte
			free int
		}{{loginKey(login), freeForLogin}, {sourceKey(from), freeForSource}} {
			a, err := lockAttempts(ctx, tx, k.key, now)
			if err != nil {
				return err
			}
			if now.Before(a.next) {
				return heldUntil(a.next, now)
			}
			if err := keepAttempts(ctx, tx, k.key, a.fail(now, k.free)); err != nil {
				return err
			}
		}
		return nil
	})
}

// Who returns the person of a session, in one statement, and notes now and then that it is used. Errors: Unauthenticated, SESSION_UNKNOWN where there
// is no such session, SESSION_OVER where it has ended or the person is shut out.
func (d *Door) Who(ctx context.Context, secret string) (Person, error) {
	if secret == "" {
		return Person{}, sessionUnknown()
	}
	now := d.now()
	found, err := findSession(ctx, d.deps.Pool, hashSecret(secret), now)
	switch {
	case postgres.NoRows(err):
		return Person{}, sessionUnknown()
	case err != nil:
		return Person{}, err
	case found.Disabled || found.session().over(now):
		return Person{}, sessionOver()
	}
	return found.Person, nil
}

// SignOut ends a session. One that is not there is no error.
func (d *Door) SignOut(ctx context.Context, secret string) error {
	return deleteSession(ctx, d.deps.Pool, hashSecret(secret))
}

// ChangePassword gives the person of a session the password that they chose, and ends their other sessions. Errors: those of Who and SignIn, and Invalid
// for a password that is too easy to guess.
func (d *Door) ChangePassword(ctx context.Context, secret, old, fresh string) error {
	p, err := d.Who(ctx, secret)
	if err != nil {
		return err
	}
	if fault := passwordFault(fresh, p.Login, p.Name); fault != "" {
		return apperr.Invalidf("PASSWORD_WEAK", "The new password %s. Take a few words that do not belong together; any characters will do.", fault)
	}
	if plain(old) == plain(fresh) {
		return apperr.Invalidf("PASSWORD_WEAK", "The new password is the one that you have: choose another one.")
	}
	// The session stands for the address: who holds it is slowed down as at the door.
	known, err := d.try(ctx, p.Login, old, string(hashSecret(secret)))
	if apperr.ReasonOf(err) == "SIGN_IN_WRONG" {
		return apperr.Invalidf("PASSWORD_WRONG", "The password that you have now is another one: nothing was changed.")
	}
	if err != nil {
		return err
	}
	hashed, err := d.hasher.hash(ctx, fresh)
	if err != nil {
		return err
	}
	now := d.now()
	err = postgres.InTx(ctx, d.deps.Pool, func(tx postgres.Tx) error {
		if _, err := lockUnchanged(ctx, tx, known); err != nil {
			return err
		}
		if err := keepPassword(ctx, tx, known.ID, hashed, false); err != nil {
			return err
		}
		if err := forgive(ctx, tx, loginKey(p.Login), sourceKey(string(hashSecret(secret)))); err != nil {
			return err
		}
		if err := deleteSessions(ctx, tx, known.ID, hashSecret(secret)); err != nil {
			return err
		}
		return noteChange(ctx, tx, known.ID, now, "password changed", p.Login, nil, nil)
	})
	if postgres.NoRows(err) {
		err = sessionOver()
	}
	return err
}
