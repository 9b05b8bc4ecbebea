package people_test

import (
	"context"
	"log/slog"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/people"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"

	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

// clock is a time that a test moves.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// school is a database with a door and who manages it.
type school struct {
	*clock
	pool   *postgres.Pool
	door   *people.Door
	server *people.Server
}

const good = "ponds under seven lanterns"

func newSchool(t *testing.T) *school {
	t.Helper()
	s := &school{clock: &clock{now: time.Date(2027, 3, 1, 9, 0, 0, 0, time.UTC)}, pool: postgrestest.Database(t)}
	codes := func(known ...string) people.Codes {
		return func(context.Context, postgres.DB) ([]string, error) { return known, nil }
	}
	s.server = people.NewServer(people.Deps{Pool: s.pool, Mint: ids.NewMint(), Now: s.Now, Caller: func(context.Context) string { return "tester" },
		Sites: codes("TARN", "DRUM"), Trainers: codes("IMARA")})
	s.door = people.NewDoor(people.DoorDeps{Pool: s.pool, Mint: ids.NewMint(), Now: s.Now, Log: slog.New(slog.DiscardHandler)})
	return s
}

// add lets somebody in, with the good password.
func (s *school) add(t *testing.T, login, role string) *peoplev1.Person {
	t.Helper()
	got, err := s.server.AddPerson(t.Context(), &peoplev1.AddPersonRequest{Login: login, Name: "Somebody Named " + login, Role: role, Password: good, KeepPassword: true})
	require.NoError(t, err)
	require.Empty(t, got.GetMadePassword(), "a given one is not told")
	return got.GetPerson()
}

func (s *school) signIn(t *testing.T, login string) string {
	t.Helper()
	secret, _, err := s.door.SignIn(t.Context(), login, good, "192.0.2.7")
	require.NoError(t, err)
	return secret
}

func (s *school) count(t *testing.T, sql string, args ...any) (n int) {
	t.Helper()
	require.NoError(t, s.pool.QueryRow(t.Context(), sql, args...).Scan(&n))
	return n
}
