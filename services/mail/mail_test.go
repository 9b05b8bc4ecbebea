package mail_test

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

const patience = 20 * time.Second

// noon is an instant of no quiet hours in Denver.
var noon = time.Date(2027, 3, 1, 19, 0, 0, 0, time.UTC)

// office is a school's mail: a database, an outbox and the office's own view of it.
type office struct {
	pool   *postgres.Pool
	jobs   *jobs.Client
	box    *mail.Outbox
	server *mail.Server
	mint   ids.Mint

	mu  sync.Mutex
	now time.Time
}

func newOffice(t *testing.T) *office {
	t.Helper()
	o := &office{pool: postgrestest.Database(t), now: noon, mint: ids.NewMint()}
	var err error
	o.jobs, err = jobs.New(o.pool, nil, jobs.Config{})
	require.NoError(t, err)
	o.box = mail.NewOutbox(mail.OutboxDeps{Jobs: o.jobs, Mint: o.mint, Now: o.time})
	o.server = mail.NewServer(mail.Deps{Pool: o.pool, Outbox: o.box, Mint: o.mint, Now: o.time, Caller: func(context.Context) string { return "office" }})
	return o
}

func (o *office) time() time.Time {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.now
}

func (o *office) set(now time.Time) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.now = now
}

func (o *office) pass(d time.Duration) { o.set(o.time().Add(d)) }

// letterhead lets letters go to servers.
func (o *office) letterhead(t *testing.T) {
	t.Helper()
	_, err := o.server.SetLetterhead(t.Context(), &mailv1.SetLetterheadRequest{Letterhead: &mailv1.Letterhead{Name: "Tarnholt School", Address: "office@tarnholt.example", Phone: "555-0100"}})
	require.NoError(t, err)
}

func (o *office) put(t *testing.T, letters ...mail.Letter) {
	t.Helper()
	require.NoError(t, postgres.InTx(t.Context(), o.pool, func(tx postgres.Tx) error { return o.box.PutAll(t.Context(), tx, letters) }))
}

func (o *office) worker(sender mail.Sender, adjust ...func(*mail.WorkerDeps)) *mail.Worker {
	d := mail.WorkerDeps{Pool: o.pool, Jobs: o.jobs, Now: o.time, Log: slog.New(slog.DiscardHandler), Sender: sender}
	for _, a := range adjust {
		a(&d)
	}
	return mail.NewWorker(d)
}

// letters are all letters of a key, the first one first.
func (o *office) letters(t *testing.T, key string) []mail.Kept {
	t.Helper()
	list, err := mail.List(t.Context(), o.pool, mail.Filter{Key: key})
	require.NoError(t, err)
	slices.Reverse(list)
	return list
}

func (o *office) only(t *testing.T, key string) mail.Kept {
	t.Helper()
	list := o.letters(t, key)
	require.Len(t, list, 1)
	return list[0]
}

// example is a letter of a kind about something.
func example(t *testing.T, kind mail.Kind, key string, version int) mail.Letter {
	t.Helper()
	at := slices.IndexFunc(mail.Kinds(), func(k mail.KindInfo) bool { return k.Kind == kind })
	require.GreaterOrEqual(t, at, 0)
	l := mail.Example(mail.Kinds()[at], mail.Address{Name: "Freya Kahale", Addr: "freya.kahale@example.org"}, noon)
	l.Key, l.Version = key, version
	if l.Event != nil {
		l.Event.UID, l.Event.Sequence = key, version
	}
	return l
}

// TestEveryKindLiesInTheFolder is the thin whole path: a letter of each kind is put, its job runs, and a file lies there.
func TestEveryKindLiesInTheFolder(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	for _, k := range mail.Kinds() {
		o.put(t, example(t, k.Kind, "about "+string(k.Kind), 1))
	}
	dir := filepath.Join(t.TempDir(), "mail")
	folder, err := mail.NewFolder(dir)
	require.NoError(t, err)
	work := jobs.NewWorkers()
	o.worker(folder).Register(work)
	client, err := jobs.New(o.pool, work, jobs.Config{Queues: map[string]int{mail.Queue: mail.JobsAtOnce}})
	require.NoError(t, err)
	require.NoError(t, client.Start(t.Context()))
	t.Cleanup(func() { require.NoError(t, client.Stop(context.Background())) })
	require.Eventually(t, func() bool {
		list, err := mail.List(t.Context(), o.pool, mail.Filter{State: mail.Sent})
		require.NoError(t, err)
		return len(list) == len(mail.Kinds())
	}, patience, 20*time.Millisecond)
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, files, len(mail.Kinds()))
	for _, f := range files {
		content, err := os.ReadFile(filepath.Join(dir, f.Name()))
		require.NoError(t, err)
		if testing.Verbose() {
			t.Logf("%s\n%s", f.Name(), content)
		}
	}
}

// try puts a letter and returns what is wrong with it.
func (o *office) try(t *testing.T, l mail.Letter) error {
	t.Helper()
	return postgres.InTx(t.Context(), o.pool, func(tx postgres.Tx) error { return o.box.Put(t.Context(), tx, l) })
}
