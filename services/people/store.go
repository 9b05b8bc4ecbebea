package people

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const personColumns = `p.id, p.login, p.name, p.role, p.site_code, p.trainer_code, p.must_change`

// listPeople lists everybody by login.
func listPeople(ctx context.Context, db postgres.DB) ([]Listed, error) {
	return postgres.List[Listed](ctx, db, "list people", `
		select `+personColumns+`, p.made_at, p.disabled_at, (select max(s.seen_at) from people.session s where s.person_id = p.id) as seen_at
		from people.person p order by p.login`)
}

// findPerson finds a person by login, and locks the row where that is asked for.
func findPerson(ctx context.Context, db postgres.DB, login string, lock bool) (Listed, error) {
	sql := `select ` + personColumns + `, p.made_at, p.disabled_at, (select max(s.seen_at) from people.session s where s.person_id = p.id) as seen_at
		from people.person p where p.login = $1`
	if lock {
		sql += ` for update of p`
	}
	p, err := postgres.One[Listed](ctx, db, "find a person", sql, CleanLogin(login))
	if postgres.NoRows(err) {
		return p, unknownPerson(login)
	}
	return p, err
}

func anybody(ctx context.Context, db postgres.DB) (bool, error) {
	var some bool
	if err := db.QueryRow(ctx, `select exists (select from people.person where disabled_at is null)`).Scan(&some); err != nil {
		return false, fmt.Errorf("look whether anybody may sign in: %w", err)
	}
	return some, nil
}

func insertPerson(ctx context.Context, tx postgres.Tx, p Person, hashed string, now time.Time) error {
	_, err := tx.Exec(ctx, `insert into people.person (id, login, name, role, site_code, trainer_code, password_hash, must_change, made_at)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, p.ID, p.Login, p.Name, p.Role, p.SiteCode, p.TrainerCode, hashed, p.MustChange, now)
	if name, _ := postgres.Constraint(err); name == "person_login_key" {
		return apperr.Conflictf("LOGIN_TAKEN", "There is somebody with the login %s already: take another one.", p.Login)
	}
	if err != nil {
		return fmt.Errorf("add a person: %w", err)
	}
	return nil
}

func keepPerson(ctx context.Context, tx postgres.Tx, p Person) error {
	_, err := tx.Exec(ctx, `update people.person set name = $2, role = $3, site_code = $4, trainer_code = $5 where id = $1`, p.ID, p.Name, p.Role, p.SiteCode, p.TrainerCode)
	if err != nil {
		return fmt.Errorf("change a person: %w", err)
	}
	return nil
}

func keepPassword(ctx context.Context, tx postgres.Tx, id ids.PersonID, hashed string, mustChange bool) error {
	if _, err := tx.Exec(ctx, `update people.person set password_hash = $2, must_change = $3 where id = $1`, id, hashed, mustChange); err != nil {
		return fmt.Errorf("set a password: %w", err)
	}
	return nil
}

// keepDisabled shuts a person out, or lets them in again with nil.
func keepDisabled(ctx context.Context, tx postgres.Tx, id ids.PersonID, since *time.Time) error {
	if _, err := tx.Exec(ctx, `update people.person set disabled_at = $2 where id = $1`, id, since); err != nil {
		return fmt.Errorf("shut a person out or in: %w", err)
	}
	return nil
}

// lockManagers locks all managers who are let in, in one order, and returns them. Whoever takes one away holds this lock, so that of two
// that are taken away at once the second sees the first gone.
func lockManagers(ctx context.Context, tx postgres.Tx) ([]Person, error) {
	return postgres.List[Person](ctx, tx, "lock the managers", `
		select `+personColumns+` from people.person p where p.role = 'manager' and p.disabled_at is null order by p.id for update`)
}

// noteChange adds to the audit trail.
func noteChange(ctx context.Context, tx postgres.Tx, id ids.PersonID, now time.Time, what, by string, before, after *Person) error {
	texts := [2]*string{}
	for i, p := range []*Person{before, after} {
		if p == nil {
			continue
		}
		content, err := json.Marshal(p)
		if err != nil {
			return fmt.Errorf("note a change of a person: %w", err)
		}
		text := string(content)
		texts[i] = &text
	}
	_, err := tx.Exec(ctx, `insert into people.change (person_id, at, what, by_name, before, after) values ($1, $2, $3, $4, $5, $6)`, id, now, what, by, texts[0], texts[1])
	if err != nil {
		return fmt.Errorf("note a change of a person: %w", err)
	}
	return nil
}
