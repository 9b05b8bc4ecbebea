package graduation_test

import (
	"context"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/graduation"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

// envLooks makes the test binary look what is due in the database that it names, again and again, until it is killed.
const envLooks = "GRADUATION_TEST_LOOKS_DATABASE"

func TestMain(m *testing.M) {
	if url := os.Getenv(envLooks); url != "" {
		if err := lookForever(url); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

func lookForever(url string) error {
	ctx := context.Background()
	pool, err := postgres.Open(ctx, url, postgres.Options{MaxConns: 4})
	if err != nil {
		return err
	}
	client, err := jobs.New(pool, nil, jobs.Config{})
	if err != nil {
		return err
	}
	now, mint := func() time.Time { return begin }, ids.NewMint()
	outbox := mail.NewOutbox(mail.OutboxDeps{Jobs: client, Mint: mint, Now: now})
	book := handover.NewBook(handover.BookDeps{Mint: mint, Now: now, Known: planner.HandoverKnown(), Fits: graduation.Fits,
		Changed: graduation.Teller{Outbox: outbox, Jobs: client, PublicURL: publicURL}.Changed})
	looks := graduation.NewLooks(graduation.LooksDeps{Pool: pool, Book: book, Outbox: outbox, Now: now, Log: slog.New(slog.DiscardHandler), PublicURL: publicURL})
	for {
		if err := looks.Look(ctx); err != nil {
			return err
		}
	}
}

// TestDeathsLoseNoLetter kills the process that sees to what is due (SIGKILL), six times in the middle of its work. In the end every graduating
// dog has one appointment and every letter was put once, with one job.
func TestDeathsLoseNoLetter(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	self, err := os.Executable()
	require.NoError(t, err)
	placed := func() int { return s.count(t, `select count(*) from handover.appointment`) }
	graduates := s.count(t, `select count(*) from planner.stay where upper(nights) >= '2027-02-22' and state in ('confirmed', 'in residence')`)
	random, midway := rand.New(rand.NewPCG(1, 2)), 0
	for round := range 6 {
		worker := exec.CommandContext(t.Context(), self)
		worker.Env = append(os.Environ(), envLooks+"="+postgrestest.URL(s.pool))
		require.NoError(t, worker.Start())
		least := min(placed()+5, graduates)
		require.Eventually(t, func() bool { return placed() >= least }, time.Minute, time.Millisecond, "round %d", round)
		time.Sleep(time.Duration(random.IntN(40)) * time.Millisecond)
		require.NoError(t, worker.Process.Kill())
		_ = worker.Wait()
		if placed() < graduates {
			midway++
		}
	}
	require.Positive(t, midway, "at least one was killed in the middle")
	require.NoError(t, s.looks.Look(t.Context()))
	require.Equal(t, graduates, placed())
	require.Equal(t, graduates, s.count(t, `select count(distinct key) from mail.letter where kind = 'handover-invitation'`))
	for kind, want := range map[string]int{"handover-invitation": graduates, "enrolment-confirmed": s.count(t, `select count(*) from planner.stay where lower(nights) > '2027-02-22' and state = 'confirmed'`)} {
		require.Equal(t, want, s.count(t, `select count(*) from mail.letter where kind = $1`, kind), kind)
	}
	require.Equal(t, s.count(t, `select count(*) from mail.letter`), s.count(t, `select count(*) from river_job where kind = 'send_letter'`))
}
