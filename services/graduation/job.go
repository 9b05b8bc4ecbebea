package graduation

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
)

const (
	// Queue is where the looks wait for a worker.
	Queue = "graduations"
	// JobsAtOnce is how many of them one process does well to work on at a time.
	JobsAtOnce = 2
	// lookTimeout ends a look that hangs; there is another each minute.
	lookTimeout = 5 * time.Minute
	// scheduleName is who places handovers that nobody asked for by name.
	scheduleName = "graduation schedule"
)

// LookArgs are the arguments of the job that sees to what is due.
type LookArgs struct{}

// Kind names the job.
func (LookArgs) Kind() string { return "look_who_graduates" }

// Periodic are the looks that every client with a schedule inserts. A look whose worker was lost must not keep later ones out, so they are not
// one at a time: what two do at once the database lets one do.
func Periodic() []jobs.Periodic {
	return []jobs.Periodic{{Schedule: "* * * * *", Args: LookArgs{}, Opts: jobs.InsertOpts{Queue: Queue, MaxAttempts: 1}, RunOnStart: true}}
}

// LooksDeps is what Looks need; all fields are required.
type LooksDeps struct {
	Pool   *postgres.Pool
	Book   *handover.Book
	Outbox *mail.Outbox
	Now    func() time.Time
	Log    *slog.Logger
	// PublicURL is the address at which owners reach the server.
	PublicURL string
}

// Looks see to what is due. Any number of them may run, on any number of machines.
type Looks struct {
	deps     LooksDeps
	arranger Arranger
}

// NewLooks panics when a dependency is missing, which is a fault in the wiring.
func NewLooks(d LooksDeps) *Looks {
	if d.Pool == nil || d.Book == nil || d.Outbox == nil || d.Now == nil || d.Log == nil || d.PublicURL == "" {
		panic("graduation.NewLooks: all dependencies are required")
	}
	return &Looks{deps: d, arranger: Arranger{Pool: d.Pool, Book: d.Book, Now: d.Now}}
}

// Register adds the work to a set of workers.
func (l *Looks) Register(set *jobs.Workers) {
	jobs.Add(set, lookTimeout, func(ctx context.Context, _ jobs.Job[LookArgs]) error { return l.Look(ctx) })
}

// Look does at every site what is due: appointments follow their stays, graduating dogs get their times, and letters are put. What fails at one
// site keeps none of the others from its turn, and is tried again by the next look.
func (l *Looks) Look(ctx context.Context) error {
	sites, err := facility.ListSites(ctx, l.deps.Pool)
	if err != nil {
		return err
	}
	for _, s := range sites {
		zone, zoneErr := calendar.LoadZone(s.Zone)
		if zoneErr != nil {
			err = errors.Join(err, fmt.Errorf("zone of site %s: %w", s.Code, zoneErr))
			continue
		}
		if partErr := l.arrange(ctx, s, zone); partErr != nil {
			err = errors.Join(err, fmt.Errorf("arrange handovers of %s: %w", s.Code, partErr))
		}
		if partErr := l.remind(ctx, s, zone); partErr != nil {
			err = errors.Join(err, fmt.Errorf("put letters of %s: %w", s.Code, partErr))
		}
	}
	return err
}

func (l *Looks) arrange(ctx context.Context, s facility.Site, zone *time.Location) error {
	if err := l.arranger.follow(ctx, s); err != nil {
		return err
	}
	days, err := l.arranger.unarranged(ctx, s, zone)
	for _, day := range days {
		if _, dayErr := l.arranger.Arrange(ctx, s, calendar.Span{From: day, To: day.AddDays(1)}, scheduleName, false); dayErr != nil {
			err = errors.Join(err, dayErr)
		}
	}
	return err
}

// remind puts the letters of every line of a site whose turn has come.
func (l *Looks) remind(ctx context.Context, s facility.Site, zone *time.Location) error {
	now := l.deps.Now().UTC().Truncate(time.Microsecond)
	set, last, err := readReminders(ctx, l.deps.Pool, s.ID)
	if err != nil {
		return err
	}
	for _, letter := range Letters() {
		at, due, turnErr := set[letter].turnDue(last[letter], now, zone)
		if turnErr == nil && due {
			turnErr = l.turn(ctx, s, zone, set, letter, at, now)
		}
		err = errors.Join(err, turnErr)
	}
	return err
}

// readReminders reads what counts for a site, and when each letter had its turn last; the zero time for never.
func readReminders(ctx context.Context, db postgres.DB, site ids.SiteID) (map[string]Reminder, map[string]time.Time, error) {
	set, last := map[string]Reminder{}, map[string]time.Time{}
	for _, letter := range Letters() {
		set[letter] = usual(site, letter)
	}
	own, err := listReminders(ctx, db)
	if err != nil {
		return nil, nil, err
	}
	for _, r := range own {
		if r.SiteID == site {
			set[r.Letter] = r
		}
	}
	turns, err := listTurns(ctx, db)
	for _, t := range turns {
		if t.SiteID == site {
			last[t.Letter] = t.TurnedAt
		}
	}
	return set, last, err
}

// turn puts what is due at a turn, and notes it, in one transaction.
func (l *Looks) turn(ctx context.Context, s facility.Site, zone *time.Location, set map[string]Reminder, letter string, at, now time.Time) error {
	return postgres.InTx(ctx, l.deps.Pool, func(tx postgres.Tx) error {
		mine, err := takeTurn(ctx, tx, turn{s.ID, letter, at})
		if err != nil || !mine {
			return err
		}
		r := set[letter]
		var letters []mail.Letter
		switch letter {
		case LetterEnrolment, LetterArrival:
			letters, err = arrivalLetters(ctx, tx, r, calendar.DateIn(now, zone))
		default:
			letters, err = l.handoverLetters(ctx, tx, r, set[LetterDayBefore].Days, at, now, zone)
		}
		if err != nil {
			return err
		}
		return l.deps.Outbox.PutAll(ctx, tx, letters)
	})
}

// arrivalLetters are those about stays that begin: all to come that are promised, or those within some days.
func arrivalLetters(ctx context.Context, tx postgres.Tx, r Reminder, today calendar.Date) ([]mail.Letter, error) {
	days := calendar.Span{From: today.AddDays(1), To: today.AddDays(r.Days + 1)}
	if r.Letter == LetterEnrolment {
		days.To = today.AddDays(ahead)
	}
	stays, err := planner.ListArrivals(ctx, tx, r.SiteID, days)
	if err != nil || len(stays) == 0 {
		return nil, err
	}
	requests := make([]ids.RequestID, len(stays))
	for i, s := range stays {
		requests[i] = s.RequestID
	}
	d, err := readDesk(ctx, tx, requests)
	if err != nil {
		return nil, err
	}
	var letters []mail.Letter
	for _, s := range stays {
		write := d.arrival
		if r.Letter == LetterEnrolment {
			write = d.enrolment
		}
		one, err := write(s)
		if err != nil {
			return nil, err
		}
		letters = append(letters, one)
	}
	return letters, nil
}

// handoverLetters are the reminders of handovers to come that were not put yet. Each has a private link of its own, since of those that went
// before only hashes are kept.
func (l *Looks) handoverLetters(ctx context.Context, tx postgres.Tx, r Reminder, dayBefore int, at, now time.Time, zone *time.Location) ([]mail.Letter, error) {
	live, err := handover.ListLive(ctx, tx, r.SiteID, now, at.AddDate(0, 0, r.Days+2))
	if err != nil {
		return nil, err
	}
	kind := mail.HandoverWeek
	if r.Letter == LetterDayBefore {
		kind = mail.HandoverDay
	}
	keys := make([]string, len(live))
	for i, a := range live {
		keys[i] = a.ID.String()
	}
	put, err := mail.ListPut(ctx, tx, kind, keys)
	if err != nil {
		return nil, err
	}
	var due []handover.Appointment
	var requests []ids.RequestID
	for i, a := range live {
		if put[keys[i]] < a.Version && r.remindOf(a, dayBefore, at, now, zone) {
			due, requests = append(due, a), append(requests, a.RequestID)
		}
	}
	if len(due) == 0 {
		return nil, nil
	}
	d, err := readDesk(ctx, tx, requests)
	if err != nil {
		return nil, err
	}
	letters := make([]mail.Letter, len(due))
	for i, a := range due {
		token, _, err := l.deps.Book.MakeLink(ctx, tx, a, scheduleName)
		if err != nil {
			return nil, err
		}
		letters[i] = d.visit(kind, a, handover.LinkURL(l.deps.PublicURL, token))
		letters[i].Expires = a.Begins
	}
	return letters, nil
}
