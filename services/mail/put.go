package mail

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
)

// OutboxDeps is what an Outbox needs; all fields are required.
type OutboxDeps struct {
	// Jobs inserts jobs; it need not work on any.
	Jobs *jobs.Client
	Mint ids.Mint
	Now  func() time.Time
}

// Outbox takes letters. It is safe for concurrent use.
type Outbox struct {
	deps OutboxDeps
}

// NewOutbox panics when a dependency is missing, which is a fault in the wiring.
func NewOutbox(d OutboxDeps) *Outbox {
	if d.Jobs == nil || d.Mint == nil || d.Now == nil {
		panic("mail.NewOutbox: all dependencies are required")
	}
	return &Outbox{deps: d}
}

// Put takes a letter in the caller's transaction. A letter of the same key, kind and version that is there already is left as it is. What has
// not gone of lower versions is superseded, and so is this one where a higher version is there.
//
// An error is a fault of the program or the database. A recipient's address that is none is no error: the letter is kept as refused, for the
// office to see, since an owner's address must not keep a handover from being moved.
func (o *Outbox) Put(ctx context.Context, tx postgres.Tx, l Letter) error {
	return o.PutAll(ctx, tx, []Letter{l})
}

// PutAll is Put for many letters, with a few statements for all of them. Of letters of one key the later ones are put after the earlier ones.
func (o *Outbox) PutAll(ctx context.Context, tx postgres.Tx, letters []Letter) error {
	if len(letters) == 0 {
		return nil
	}
	now := o.deps.Now().UTC().Truncate(time.Microsecond)
	press, err := newPress(ctx, tx, letters)
	if err != nil {
		return fmt.Errorf("put letters: %w", err)
	}
	rows := make([]Kept, len(letters))
	for i, l := range letters {
		if rows[i], err = press.set(l, ids.LetterID(o.deps.Mint()), now); err != nil {
			return fmt.Errorf("put a letter of the kind %s about %s: %w", l.Kind, l.Key, err)
		}
	}
	return o.insert(ctx, tx, rows, now)
}

// mostAtOnce is how many letters one statement takes: their words go over in one value, whose size is limited.
const mostAtOnce = 500

// insert stores letters, with the jobs that send them.
func (o *Outbox) insert(ctx context.Context, tx postgres.Tx, rows []Kept, now time.Time) error {
	var fresh []queued
	for part := range slices.Chunk(rows, mostAtOnce) {
		inserted, err := insertLetters(ctx, tx, part)
		if err != nil {
			return err
		}
		fresh = append(fresh, inserted...)
	}
	var keys []string
	for _, r := range rows {
		keys = append(keys, r.Key)
	}
	if err := supersede(ctx, tx, keys, now); err != nil {
		return err
	}
	// Jobs of one instant are worked in the order in which they were inserted, which a look for lost ones relies on.
	slices.SortFunc(fresh, func(a, b queued) int { return a.ID.Compare(b.ID) })
	return insertJobs(ctx, tx, o.deps.Jobs, fresh, now)
}

// insertJobs inserts a job for each letter that waits.
func insertJobs(ctx context.Context, tx postgres.Tx, client *jobs.Client, letters []queued, now time.Time) error {
	var all []jobs.Insertion
	for _, l := range letters {
		if l.State != Waiting && l.State != Sending {
			continue
		}
		opts := jobs.InsertOpts{Queue: Queue, Priority: 2, MaxAttempts: jobAttempts}
		if l.NextAt.After(now) {
			opts.RunAt = l.NextAt
		}
		all = append(all, jobs.Insertion{Args: SendArgs{l.ID}, Opts: opts})
	}
	_, err := client.InsertManyTx(ctx, tx, all)
	return err
}

// press makes letters: it has the letterhead and the templates of the moment.
type press struct {
	head      Letterhead
	templates map[Kind]Template
	compiled  map[Kind]*compiled
	// told are the keys of which a letter with an event has gone, or may have.
	told map[string]bool
}

func newPress(ctx context.Context, tx postgres.Tx, letters []Letter) (*press, error) {
	var keys []string
	for _, l := range letters {
		keys = append(keys, l.Key)
	}
	p := &press{compiled: map[Kind]*compiled{}}
	var err error
	if p.head, err = findLetterhead(ctx, tx); err != nil {
		return nil, err
	}
	if p.templates, err = listTemplates(ctx, tx); err != nil {
		return nil, err
	}
	p.told, err = listTold(ctx, tx, keys)
	return p, err
}

// template is the school's text of a kind, or the one built in, made ready once.
func (p *press) template(kind KindInfo) (*compiled, error) {
	if c, ok := p.compiled[kind.Kind]; ok {
		return c, nil
	}
	t, ok := p.templates[kind.Kind]
	if !ok {
		var err error
		if t, err = BuiltIn(kind.Kind); err != nil {
			return nil, err
		}
	}
	c, err := t.compile(kind)
	if err == nil {
		p.compiled[kind.Kind] = c
	}
	return c, err
}

// set makes a letter. Whoever was never told of an appointment is invited to it, not told that it has changed.
func (p *press) set(l Letter, id ids.LetterID, now time.Time) (Kept, error) {
	if err := checkLetter(l); err != nil {
		return Kept{}, err
	}
	kind, err := info(l.Kind)
	if err != nil {
		return Kept{}, err
	}
	made := kind
	filled := l
	if kind.instead != "" && !p.told[l.Key] {
		if made, err = info(kind.instead); err != nil {
			return Kept{}, err
		}
		if _, err := valuesOf(kind, l, p.head); err != nil {
			return Kept{}, err // a fault of the caller shows whichever text is used
		}
		filled = onlyKnown(made, l)
	}
	v, err := valuesOf(made, filled, p.head)
	if err != nil {
		return Kept{}, err
	}
	t, err := p.template(made)
	if err != nil {
		return Kept{}, err
	}
	w, err := t.fill(v)
	if err != nil {
		return Kept{}, err
	}
	return p.keep(l, w, id, now)
}

// longestName is how many characters of a recipient's name stand in a header, whose lines must not be longer than 998 octets (RFC 5322 section 2.1.1).
const longestName = 100

// keep makes the row of a letter.
func (p *press) keep(l Letter, w words, id ids.LetterID, now time.Time) (Kept, error) {
	k := Kept{ID: id, Key: l.Key, Kind: l.Kind, Version: l.Version, MessageID: messageID(id, p.head.Address),
		FromName: p.head.Name, FromAddress: p.head.Address, ToName: shortened(oneLine(l.To.Name), longestName), ToAddress: oneLine(l.To.Addr), Domain: domainOf(l.To.Addr), Zone: l.Zone,
		Subject: w.subject, BodyText: w.text, BodyHTML: w.html, PutAt: now, DueAt: now, State: Waiting, QueuedAt: now}
	if l.NotBefore.After(now) {
		k.DueAt = l.NotBefore.UTC().Truncate(time.Microsecond)
	}
	k.NextAt = k.DueAt
	if !l.Expires.IsZero() {
		expires := l.Expires.UTC().Truncate(time.Microsecond)
		k.ExpiresAt = &expires
	}
	if l.Event != nil {
		e := *l.Event
		if e.Organizer.Addr == "" {
			e.Organizer = k.from()
		}
		if e.Attendee.Addr == "" {
			e.Attendee = k.to()
		}
		content, err := e.write(now)
		if err != nil {
			return Kept{}, err
		}
		method := string(e.Method)
		k.Calendar, k.Method = &content, &method
	}
	if fault := plainAddress(l.To.Addr); fault != "" {
		k.State, k.DoneAt, k.Domain = Refused, &now, ""
		k.Note = "the address on record " + fault + ": correct it, and send the letter again with the new address"
	}
	return k, nil
}

func checkLetter(l Letter) error {
	switch {
	case l.Key == "":
		return errors.New("it needs a key")
	case l.Version < 0:
		return errors.New("its version is negative")
	case !l.Expires.IsZero() && !l.NotBefore.Before(l.Expires):
		return errors.New("it expires before it may be sent")
	}
	if _, err := calendar.LoadZone(l.Zone); err != nil {
		return fmt.Errorf("the owner's zone: %w", err)
	}
	if kind, err := info(l.Kind); err == nil && l.Event != nil && !kind.Invites {
		return errors.New("letters of this kind carry no calendar entry")
	}
	return nil
}
