package mail_test

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"regexp"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

// storm makes TestStorm as large as README.md says: go test ./services/mail -run TestStorm -storm -timeout 30m -v
var storm = flag.Bool("storm", false, "10,000 letters in TestStorm, with 20 killed workers, instead of a short form")

// envWorker makes the test binary a worker of the database that it names, until it is killed; envServer is the mail server.
const (
	envWorker = "MAIL_TEST_WORKER_DATABASE"
	envServer = "MAIL_TEST_WORKER_SERVER"
	// stormAtOnce is how many letters a worker has in hand, stormStall when one is taken for lost.
	stormAtOnce = 8
	stormStall  = 10 * time.Second
)

func TestMain(m *testing.M) {
	if url := os.Getenv(envWorker); url != "" {
		if err := workForever(url, os.Getenv(envServer)); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

func workForever(url, server string) error {
	ctx := context.Background()
	pool, err := postgres.Open(ctx, url, postgres.Options{MaxConns: 2 * stormAtOnce})
	if err != nil {
		return err
	}
	inserts, err := jobs.New(pool, nil, jobs.Config{})
	if err != nil {
		return err
	}
	sender, err := mail.NewSMTP(mail.SMTPConfig{Addr: server, Security: mail.Plain, Hello: "school.example"})
	if err != nil {
		return err
	}
	work := mail.NewWorker(mail.WorkerDeps{Pool: pool, Jobs: inserts, Now: time.Now, Log: slog.New(slog.DiscardHandler), Sender: sender, StallAfter: stormStall,
		Retry: func(int) time.Duration { return 500 * time.Millisecond }})
	set := jobs.NewWorkers()
	work.Register(set)
	client, err := jobs.New(pool, set, jobs.Config{Queues: map[string]int{mail.Queue: stormAtOnce}})
	if err != nil {
		return err
	}
	if err := client.Start(ctx); err != nil {
		return err
	}
	for {
		if err := work.Look(ctx); err != nil {
			return err
		}
		time.Sleep(500 * time.Millisecond)
	}
}

// startWorker starts a process that sends letters. kill ends it as a power cut would.
func startWorker(t *testing.T, o *office, p *postOffice) (kill func()) {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	worker := exec.CommandContext(t.Context(), self)
	worker.Env = append(os.Environ(), envWorker+"="+postgrestest.URL(o.pool), envServer+"="+p.addr)
	require.NoError(t, worker.Start())
	kill = sync.OnceFunc(func() {
		_ = worker.Process.Kill()
		_ = worker.Wait()
	})
	t.Cleanup(kill)
	return kill
}

var idOf = regexp.MustCompile(`(?m)^Message-ID: <(.+)>\r$`)

// trouble is what a server does to letters, and how often it did.
type trouble struct {
	mu                        sync.Mutex
	rand                      *rand.Rand
	refused, hungUp, hungKept atomic.Int64
}

func (x *trouble) chance(percent int) bool {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.rand.IntN(100) < percent
}

// cause makes a server refuse a tenth of the recipients for now, and hang up on a fiftieth of the letters; half of these it has taken.
func (x *trouble) cause(p *postOffice) {
	p.atRecipient = func(string) *smtp.SMTPError {
		if !x.chance(10) {
			return nil
		}
		x.refused.Add(1)
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 7, 1}, Message: "Greylisted, come back later"}
	}
	p.hangUp = func(string) (hang, keep bool) {
		if !x.chance(2) {
			return false, false
		}
		x.hungUp.Add(1)
		if keep = x.chance(50); keep {
			x.hungKept.Add(1)
		}
		return true, keep
	}
}

// TestStorm puts many letters in one transaction. The server refuses a tenth of them for now, hangs up on a fiftieth after the letter, and is
// restarted; the process that sends them is killed again and again. No letter is lost; those that come twice do so because neither side could
// know, and have the same Message-ID.
func TestStorm(t *testing.T) {
	letters, kills, restarts := 300, 4, 1
	if *storm {
		letters, kills, restarts = 10_000, 20, 2
	}
	o, p, x := newOffice(t), newPostOffice(t), &trouble{rand: rand.New(rand.NewPCG(1, 2))}
	x.cause(p)
	addr := p.addr
	o.set(time.Now())
	_, err := o.pool.Exec(t.Context(), `insert into mail.letterhead values (now(), 'test', 'Tarnholt School', 'office@tarnholt.example', '555-0100', '00:00', '00:00')`)
	require.NoError(t, err)
	all := make([]mail.Letter, letters)
	for i := range all {
		l := example(t, mail.HandoverInvitation, ids.LetterID(o.mint()).String(), 1)
		l.To = mail.Address{Name: "Owner", Addr: fmt.Sprintf("owner%d@%s", i, []string{"example.org", "example.com", "example.net"}[i%3])}
		all[i] = l
	}
	began := time.Now()
	o.put(t, all...)
	put := time.Since(began)

	kill := startWorker(t, o, p)
	received := func() int { return len(p.all()) }
	killed, restarted := 0, 0
	for deadline := time.Now().Add(25 * time.Minute); ; time.Sleep(5 * time.Millisecond) {
		require.False(t, time.Now().After(deadline), "%d of %d after %v", received(), letters, time.Since(began))
		if n := received(); killed < kills && n > letters*(killed+1)/(kills+1) {
			kill()
			killed++
			kill = startWorker(t, o, p)
		} else if restarted < restarts && n > letters*(2*restarted+1)/(2*restarts+1) {
			p.shut()
			time.Sleep(300 * time.Millisecond)
			p.open(t, addr)
			restarted++
		}
		if o.count(t, `select count(*) from mail.letter where done_at is null`) == 0 {
			break
		}
	}
	require.Equal(t, []int{kills, restarts}, []int{killed, restarted})

	copies, names := map[string]int{}, map[string]map[string]bool{}
	for _, l := range p.all() {
		copies[l.to]++
		found := idOf.FindStringSubmatch(l.content)
		require.NotNil(t, found)
		if names[l.to] == nil {
			names[l.to] = map[string]bool{}
		}
		names[l.to][found[1]] = true
	}
	repeats := 0
	for to, n := range copies {
		repeats += n - 1
		require.Len(t, names[to], 1, "all copies of a letter have one Message-ID")
	}
	lost := letters - len(copies)
	t.Logf("%d letters put in %v and sent in %v; server: %d refused for now, %d hung up (%d of them taken), %d restarts; workers: %d killed; %d lost, %d came again (%d kept and hung up)",
		letters, put.Round(time.Millisecond), time.Since(began).Round(time.Millisecond), x.refused.Load(), x.hungUp.Load(), x.hungKept.Load(), restarted, killed, lost, repeats, x.hungKept.Load())
	t.Logf("%d jobs for %d letters", o.count(t, `select count(*) from river_job`), letters)
	require.Zero(t, lost)
	require.Equal(t, letters, o.count(t, `select count(*) from mail.letter where state = 'sent'`))
	// Where nobody could know: the server hung up on a letter that it had taken, was stopped between taking and answering, or the worker died between
	// the answer and its mark. Each of the last two can concern no more letters than were in hand.
	require.GreaterOrEqual(t, int64(repeats), x.hungKept.Load()-int64(stormAtOnce*(killed+restarted)))
	require.LessOrEqual(t, int64(repeats), x.hungKept.Load()+int64(stormAtOnce*(killed+restarted)))
}

func (o *office) count(t *testing.T, sql string, args ...any) (n int) {
	t.Helper()
	require.NoError(t, o.pool.QueryRow(t.Context(), sql, args...).Scan(&n))
	return n
}
