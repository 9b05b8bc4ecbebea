package mail

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
)

const (
	// Queue is where letters wait for a worker.
	Queue = "letters"
	// JobsAtOnce is how many of them one process does well to send at a time. Each has a connection of its own to the server.
	JobsAtOnce = 4
	// sendTimeout ends an attempt that hangs. It is shorter than stallAfter, so no two workers send a letter on purpose.
	sendTimeout = 90 * time.Second
	// stallAfter is when a letter that a worker has in hand, or that all others have overtaken, is taken for lost.
	stallAfter = 3 * time.Minute
	// mostRequeued is how many lost letters one look takes up again.
	mostRequeued = 1000
	// jobAttempts is how often a job may fail because the database does, before the next look starts another.
	jobAttempts = 5
	// lockedPause is when to look again at a letter that somebody has locked.
	lockedPause = 2 * time.Second
	// giveUpAfter is for how long a letter without an end of its own is tried: RFC 5321 section 4.5.4.1 asks for 4 to 5 days.
	giveUpAfter = 4 * 24 * time.Hour
)

// SendArgs are the arguments of the job that sends a letter.
type SendArgs struct {
	LetterID ids.LetterID `json:"letter_id"`
}

// Kind names the job.
func (SendArgs) Kind() string { return "send_letter" }

// LookArgs are the arguments of the job that looks for letters whose job is lost.
type LookArgs struct{}

// Kind names the job.
func (LookArgs) Kind() string { return "look_which_letters_are_lost" }

// Periodic are the looks that every client with letters inserts. A look whose worker was lost must not keep later ones out.
func Periodic() []jobs.Periodic {
	return []jobs.Periodic{{Schedule: "* * * * *", Args: LookArgs{}, Opts: jobs.InsertOpts{Queue: Queue, MaxAttempts: 1}, RunOnStart: true}}
}

// Outgoing is a message that a Sender takes to its recipient.
type Outgoing struct {
	// From and To are the addresses of the envelope.
	From, To string
	// Name names the letter; the names of letters sort by their date.
	Name string
	// Content is the whole message with "\r\n" at the ends of lines.
	Content []byte
}

// Sender hands letters over. An error is a *Refusal where a server answered; any other says that nobody can tell whether it took the letter, or
// that it did not.
type Sender interface {
	Send(ctx context.Context, m Outgoing) (answer string, err error)
	// Reaches reports whether letters reach people at once, so that hours and pace matter.
	Reaches() bool
}

// Refusal is what a server said against a letter.
type Refusal struct {
	// Final says that no further attempt will help.
	Final  bool
	Answer string
}

// Error is the answer.
func (r *Refusal) Error() string { return r.Answer }

// Pace limits letters to one domain.
type Pace struct {
	// PerMinute is how many letters may go in a minute; 0 means no limit.
	PerMinute int
	// Burst is how many of them may go at once. 0 means 1.
	Burst int
}

// WorkerDeps is what a Worker needs; those without a note are required.
type WorkerDeps struct {
	Pool *postgres.Pool
	// Jobs inserts jobs; it need not work on any.
	Jobs   *jobs.Client
	Now    func() time.Time
	Log    *slog.Logger
	Sender Sender
	// Signer signs letters; nil leaves that out.
	Signer *Signer
	Pace   Pace
	// Retry is the pause after failed attempt n, from 1. Nil means a minute, doubled each time up to two hours.
	Retry func(n int) time.Duration
	// StallAfter is when a letter that a worker has in hand is taken for lost. 0 means 3 min; less is for tests.
	StallAfter time.Duration
}

// Worker sends letters. Any number of them may run, on any number of machines.
type Worker struct {
	deps WorkerDeps
	// began is when it was made: letters that wait since before then may just have had no worker.
	began time.Time
}

// NewWorker panics when a dependency is missing, which is a fault in the wiring.
func NewWorker(d WorkerDeps) *Worker {
	if d.Pool == nil || d.Jobs == nil || d.Now == nil || d.Log == nil || d.Sender == nil {
		panic("mail.NewWorker: a dependency is missing")
	}
	if d.Retry == nil {
		d.Retry = usualRetry
	}
	if d.StallAfter == 0 {
		d.StallAfter = stallAfter
	}
	if d.Pace.Burst == 0 {
		d.Pace.Burst = 1
	}
	return &Worker{deps: d, began: d.Now()}
}

// usualRetry is a minute after the first attempt and two hours after the eighth.
func usualRetry(n int) time.Duration { return min(2*time.Hour, time.Minute<<min(n-1, 10)) }

// Register adds the work to a set of workers.
func (w *Worker) Register(set *jobs.Workers) {
	jobs.Add(set, sendTimeout, func(ctx context.Context, job jobs.Job[SendArgs]) error { return w.Send(ctx, job.Args.LetterID) })
	jobs.Add(set, sendTimeout, func(ctx context.Context, _ jobs.Job[LookArgs]) error { return w.Look(ctx) })
}

// now is read once for each step and cut to what the database keeps.
func (w *Worker) now() time.Time { return w.deps.Now().UTC().Truncate(time.Microsecond) }

// Look starts lost letters again. Two at once do no harm.
func (w *Worker) Look(ctx context.Context) error {
	now := w.now()
	return postgres.InTx(ctx, w.deps.Pool, func(tx postgres.Tx) error {
		stalled := now.Add(-w.deps.StallAfter)
		lost, err := requeueStalled(ctx, tx, stalled, now, !w.began.After(stalled), mostRequeued)
		if err != nil {
			return err
		}
		return insertJobs(ctx, tx, w.deps.Jobs, lost, now)
	})
}

// Send brings a letter one step further: it is sent, put off, or found to be done. What it returns is meant for the job: an error, or that it is
// to come again since somebody has the letter locked. A letter that is put off has another job, inserted in the same transaction.
func (w *Worker) Send(ctx context.Context, id ids.LetterID) error {
	var (
		k    Kept
		then next
	)
	err := postgres.InTx(ctx, w.deps.Pool, func(tx postgres.Tx) (err error) {
		k, then, err = w.take(ctx, tx, id)
		return err
	})
	switch {
	case err != nil:
		return err
	case then == comeAgain:
		return jobs.Later(lockedPause)
	case then == nothing:
		return nil
	}
	content, err := compose(k)
	if err == nil {
		content, err = w.deps.Signer.sign(content)
	}
	answer := ""
	if err == nil {
		// It ends long before others take the letter for lost.
		bounded, cancel := context.WithTimeout(ctx, w.deps.StallAfter/2)
		defer cancel()
		answer, err = w.deps.Sender.Send(bounded, Outgoing{From: k.FromAddress, To: k.ToAddress, Name: nameOf(k), Content: content})
	}
	return w.end(ctx, k, content, answer, err)
}

// nameOf names a letter by its date, its kind and its ID: the name is the same for every attempt.
func nameOf(k Kept) string {
	return fmt.Sprintf("%s_%s_%s", k.dated().Format("2006-01-02T150405Z"), k.Kind, k.ID)
}

// dated is the date in a letter's header: when it was first taken up, which is when it was ready to go.
func (k Kept) dated() time.Time {
	if k.DatedAt == nil {
		return k.DueAt.UTC()
	}
	return k.DatedAt.UTC()
}

// next is what is to be done about a letter.
type next uint8

const (
	nothing next = iota
	comeAgain
	sendIt
)

// take decides what is to happen with a letter now. With sendIt the caller has it in hand.
func (w *Worker) take(ctx context.Context, tx postgres.Tx, id ids.LetterID) (Kept, next, error) {
	k, ok, err := takeUp(ctx, tx, id)
	if err != nil {
		return k, nothing, err
	}
	if !ok {
		return k, comeAgain, nil
	}
	now := w.now()
	switch {
	case k.DoneAt != nil:
		return k, nothing, nil
	case k.State == Sending && k.TakenAt != nil && now.Sub(*k.TakenAt) < w.deps.StallAfter:
		return k, nothing, nil // another worker has it; should it be lost, a look finds the letter
	case k.SupersededAt != nil:
		k.end(Superseded, "a newer letter about the same thing was put; whether this one went is not known", now)
		return k, nothing, keepState(ctx, tx, k)
	case k.ExpiresAt != nil && !now.Before(*k.ExpiresAt):
		k.end(Expired, joinNotes("it could not be sent in time", k.Note), now)
		return k, nothing, keepState(ctx, tx, k)
	case k.State == Waiting && k.NextAt.After(now):
		return k, nothing, nil // it was put off, and has another job
	}
	if held, err := w.hold(ctx, tx, &k, now); err != nil || held {
		return k, nothing, err
	}
	k.State, k.TakenAt, k.SlotAt = Sending, &now, nil
	k.Attempts++
	if k.DatedAt == nil {
		k.DatedAt = &now
	}
	return k, sendIt, keepState(ctx, tx, k)
}

func joinNotes(first, second string) string {
	if second == "" {
		return first
	}
	return first + ": " + second
}

// end brings a letter to an end.
func (k *Kept) end(state State, note string, now time.Time) {
	k.State, k.Note, k.DoneAt = state, note, &now
}

// hold puts a letter off that would disturb its recipient, or come too fast for its provider.
func (w *Worker) hold(ctx context.Context, tx postgres.Tx, k *Kept, now time.Time) (held bool, err error) {
	if !w.deps.Sender.Reaches() {
		return false, nil
	}
	if domainOf(k.FromAddress) == domainOf(ImpliedLetterhead().Address) {
		k.end(Refused, "the school had no letterhead when it was put, so nobody could answer it: set one, and send it again", now)
		return true, keepState(ctx, tx, *k)
	}
	head, err := findLetterhead(ctx, tx)
	if err != nil {
		return false, err
	}
	zone, err := calendar.LoadZone(k.Zone)
	if err != nil {
		return false, fmt.Errorf("find the hours of a letter: %w", err)
	}
	if until, quiet := head.wakes(now, zone); quiet && (k.ExpiresAt == nil || until.Before(*k.ExpiresAt)) {
		k.SlotAt = nil
		return true, w.putOff(ctx, tx, k, until, "it waits for the end of the quiet hours", now)
	}
	if w.deps.Pace.PerMinute == 0 || k.SlotAt != nil {
		return false, nil
	}
	turn, err := reserve(ctx, tx, k.Domain, now, time.Minute/time.Duration(w.deps.Pace.PerMinute), w.deps.Pace.Burst)
	if err != nil || !turn.After(now) {
		return false, err
	}
	k.SlotAt = &turn
	return true, w.putOff(ctx, tx, k, turn, "it waits for its turn among letters to "+k.Domain, now)
}

// putOff puts a letter off that its transaction has locked, and inserts the job for its next turn.
func (w *Worker) putOff(ctx context.Context, tx postgres.Tx, k *Kept, until time.Time, note string, now time.Time) error {
	k.State, k.NextAt, k.QueuedAt, k.TakenAt, k.Note = Waiting, until, now, nil, note
	if err := keepState(ctx, tx, *k); err != nil {
		return err
	}
	return insertJobs(ctx, tx, w.deps.Jobs, []queued{{k.ID, k.State, k.NextAt}}, now)
}

// end keeps what became of an attempt. It does so too when the attempt was broken off.
func (w *Worker) end(ctx context.Context, mine Kept, content []byte, answer string, sent error) error {
	stopped := sent != nil && errors.Is(ctx.Err(), context.Canceled)
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	err := postgres.InTx(ctx, w.deps.Pool, func(tx postgres.Tx) error {
		now := w.now()
		k, err := find(ctx, tx, mine.ID, true)
		if err != nil {
			return err
		}
		if sent == nil {
			return endSent(ctx, tx, k, content, answer, now)
		}
		if k.State != Sending || k.TakenAt == nil || !k.TakenAt.Equal(*mine.TakenAt) {
			return nil // it took too long, and another worker has taken the letter over
		}
		return w.endUnsent(ctx, tx, k, sent, stopped, now)
	})
	if err != nil {
		return err
	}
	w.log(ctx, mine, sent)
	return nil
}

// endSent notes that a server took a letter, whoever has it in hand.
func endSent(ctx context.Context, tx postgres.Tx, k Kept, content []byte, answer string, now time.Time) error {
	if err := noteAttempt(ctx, tx, k.ID, Attempt{now, "sent", answer}); err != nil {
		return err
	}
	if k.State == Sent || k.State == Bounced {
		return nil
	}
	if err := keepContent(ctx, tx, k.ID, content); err != nil {
		return err
	}
	k.end(Sent, "", now)
	return keepState(ctx, tx, k)
}

// endUnsent notes that a letter did not go, and when it is tried again.
func (w *Worker) endUnsent(ctx context.Context, tx postgres.Tx, k Kept, cause error, stopped bool, now time.Time) error {
	if stopped { // the program ends: the attempt does not count
		k.Attempts--
		return w.putOff(ctx, tx, &k, now, "the program ended while it was being sent", now)
	}
	refusal, answered := errors.AsType[*Refusal](cause)
	if answered && refusal.Final {
		if err := noteAttempt(ctx, tx, k.ID, Attempt{now, "refused", refusal.Answer}); err != nil {
			return err
		}
		k.end(Refused, "the server refused it: "+refusal.Answer, now)
		return keepState(ctx, tx, k)
	}
	if err := noteAttempt(ctx, tx, k.ID, Attempt{now, "put off", cause.Error()}); err != nil {
		return err
	}
	next := now.Add(w.deps.Retry(k.Attempts))
	switch {
	case k.SupersededAt != nil:
		k.end(Superseded, "a newer letter about the same thing was put while this one was put off", now)
	case k.ExpiresAt != nil && !next.Before(*k.ExpiresAt):
		k.end(Expired, "it could not be sent in time: "+cause.Error(), now)
	case next.Sub(k.DueAt) > giveUpAfter:
		k.end(Refused, fmt.Sprintf("given up after %d attempts: %s", k.Attempts, cause), now)
	default:
		return w.putOff(ctx, tx, &k, next, "put off: "+cause.Error(), now)
	}
	return keepState(ctx, tx, k)
}

// log tells operators, without anybody's address: what a server says may hold one.
func (w *Worker) log(ctx context.Context, k Kept, sent error) {
	switch refusal, answered := errors.AsType[*Refusal](sent); {
	case sent == nil:
		w.deps.Log.DebugContext(ctx, "a letter is sent", "letter", k.ID.String(), "kind", string(k.Kind), "attempt", k.Attempts)
	case answered && refusal.Final:
		w.deps.Log.WarnContext(ctx, "a letter is refused", "letter", k.ID.String(), "kind", string(k.Kind), "attempt", k.Attempts)
	default:
		w.deps.Log.InfoContext(ctx, "a letter is put off", "letter", k.ID.String(), "kind", string(k.Kind), "attempt", k.Attempts)
	}
}
