package assembly

import (
	"context"
	"log/slog"
	"time"

	"github.com/longlead/longlead/services/console/frame"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/people"
	"github.com/longlead/longlead/services/postgres"
)

// door lets the people of the database in to the console.
type door struct{ *people.Door }

// NewDoor makes the console's door for the people of a database.
func NewDoor(pool *postgres.Pool, now func() time.Time, log *slog.Logger) frame.Door {
	return door{people.NewDoor(people.DoorDeps{Pool: pool, Mint: ids.NewMint(), Now: now, Log: log})}
}

// SignIn implements frame.Door.
func (d door) SignIn(ctx context.Context, login, password, from string) (string, error) {
	secret, _, err := d.Door.SignIn(ctx, login, password, from)
	return secret, err
}

// Who implements frame.Door.
func (d door) Who(ctx context.Context, secret string) (frame.Person, error) {
	p, err := d.Door.Who(ctx, secret)
	return frame.Person{Login: p.Login, Name: p.Name, Role: p.Role, SiteCode: p.SiteCode, TrainerCode: p.TrainerCode, MustChange: p.MustChange}, err
}

// Nobody implements frame.Door.
func (d door) Nobody(ctx context.Context) (bool, error) {
	some, err := d.Anybody(ctx)
	return !some, err
}
