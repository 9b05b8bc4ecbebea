package people

import (
	"context"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// findSecret finds a person with the hash of their password, by login.
func findSecret(ctx context.Context, db postgres.DB, login string) (secretPerson, error) {
	if !goodLogin.MatchString(login) {
		login = "" // nobody has it; the statement runs all the same, as for any other
	}
	return postgres.One[secretPerson](ctx, db, "find a login", `
		select p.id, p.password_hash, p.disabled_at is not null as disabled from people.person p where p.login = $1`, login)
}

// lockUnchanged locks a person whose password was checked a moment ago. Without rows it has been changed since, or they were shut out.
func lockUnchanged(ctx context.Context, tx postgres.Tx, known secretPerson) (Person, error) {
	return postgres.One[Person](ctx, tx, "lock a person", `
		select `+personColumns+` from people.person p where p.id = $1 and p.password_hash = $2 and p.disabled_at is null for update`, known.ID, known.Hash)
}

func insertSession(ctx context.Context, tx postgres.Tx, hash []byte, id ids.PersonID, s session) error {
	// What ended long ago goes with it: nobody asks for it any more.
	_, err := tx.Exec(ctx, `delete from people.session where person_id = $1 and expires_at < $2`, id, s.made.Add(-SessionLife))
	if err == nil {
		_, err = tx.Exec(ctx, `insert into people.session (secret_hash, person_id, made_at, seen_at, expires_at) values ($1, $2, $3, $4, $5)`, hash, id, s.made, s.seen, s.expires)
	}
	if err != nil {
		return fmt.Errorf("begin a session: %w", err)
	}
	return nil
}

// foundSession is a session as it was before it was used, with its person.
type foundSession struct {
	Person
	Disabled  bool      `db:"disabled"`
	MadeAt    time.Time `db:"session_made_at"`
	SeenAt    time.Time `db:"session_seen_at"`
	ExpiresAt time.Time `db:"session_expires_at"`
}

func (f foundSession) session() session {
	return session{made: f.MadeAt, seen: f.SeenAt, expires: f.ExpiresAt}
}

// findSession finds a session and its person. Where it is in use and that was not noted lately, the same statement notes it.
func findSession(ctx context.Context, db postgres.DB, hash []byte, now time.Time) (foundSession, error) {
	return postgres.One[foundSession](ctx, db, "find a session", `
		with used as (
			update people.session s set seen_at = $2, expires_at = least($2 + make_interval(secs => $4), s.made_at + make_interval(secs => $5))
			from people.person p
			where s.secret_hash = $1 and p.id = s.person_id and p.disabled_at is null and $2 < s.expires_at and s.seen_at <= $2 - make_interval(secs => $3)
		)
		select `+personColumns+`, p.disabled_at is not null as disabled, s.made_at as session_made_at, s.seen_at as session_seen_at, s.expires_at as session_expires_at
		from people.session s join people.person p on p.id = s.person_id where s.secret_hash = $1`,
		hash, now, SeenEvery.Seconds(), SessionIdle.Seconds(), SessionLife.Seconds())
}

func deleteSession(ctx context.Context, db postgres.DB, hash []byte) error {
	if _, err := db.Exec(ctx, `delete from people.session where secret_hash = $1`, hash); err != nil {
		return fmt.Errorf("end a session: %w", err)
	}
	return nil
}

// deleteSessions ends all sessions of a person but one; none is spared with nil.
func deleteSessions(ctx context.Context, tx postgres.Tx, id ids.PersonID, but []byte) error {
	if _, err := tx.Exec(ctx, `delete from people.session where person_id = $1 and secret_hash is distinct from $2`, id, but); err != nil {
		return fmt.Errorf("end the sessions of a person: %w", err)
	}
	return nil
}

// lockAttempts reads how often sign-ins of a key failed, and keeps others from counting until the transaction ends.
func lockAttempts(ctx context.Context, tx postgres.Tx, key [32]byte, now time.Time) (a attempts, err error) {
	// An update that changes nothing gives the row back and locks it, whether it was there or not.
	err = tx.QueryRow(ctx, `
		insert into people.attempt as a (key_hash, failures, last_at, next_at) values ($1, 0, $2, $2)
		on conflict on constraint attempt_pkey do update set failures = a.failures
		returning failures, last_at, next_at`, key[:], now).Scan(&a.failures, &a.last, &a.next)
	if err != nil {
		return a, fmt.Errorf("read failed sign-ins: %w", err)
	}
	return a, nil
}

func keepAttempts(ctx context.Context, tx postgres.Tx, key [32]byte, a attempts) error {
	_, err := tx.Exec(ctx, `update people.attempt set failures = $2, last_at = $3, next_at = $4 where key_hash = $1`, key[:], a.failures, a.last, a.next)
	if err != nil {
		return fmt.Errorf("count a failed sign-in: %w", err)
	}
	return nil
}

// clearAttempts forgets the failures of a key.
func clearAttempts(ctx context.Context, tx postgres.Tx, key [32]byte) error {
	if _, err := tx.Exec(ctx, `delete from people.attempt where key_hash = $1`, key[:]); err != nil {
		return fmt.Errorf("forget failed sign-ins: %w", err)
	}
	return nil
}

// forgive clears the count of a login after it was used rightly, and takes back the one that its address was given for it. Other failures
// from there stay: somebody who has one login may be guessing others.
func forgive(ctx context.Context, tx postgres.Tx, login, source [32]byte) error {
	err := clearAttempts(ctx, tx, login)
	if err == nil {
		_, err = tx.Exec(ctx, `update people.attempt set failures = failures - 1, next_at = last_at where key_hash = $1 and failures > 0`, source[:])
	}
	if err != nil {
		return fmt.Errorf("forgive failed sign-ins: %w", err)
	}
	return nil
}

// forgetOld drops counts that no longer matter. Rows that somebody has locked are left for the next time.
func forgetOld(ctx context.Context, tx postgres.Tx, before time.Time) error {
	_, err := tx.Exec(ctx, `delete from people.attempt where key_hash in (select key_hash from people.attempt where last_at < $1 limit 100 for update skip locked)`, before)
	if err != nil {
		return fmt.Errorf("forget old sign-ins: %w", err)
	}
	return nil
}
