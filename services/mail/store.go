package mail

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const letterColumns = `l.id, l.key, l.kind, l.version, l.copy, l.message_id, l.from_name, l.from_address, l.to_name, l.to_address, l.domain, l.zone,
	l.subject, l.body_text, l.body_html, l.calendar, l.method, l.put_at, l.due_at, l.expires_at, l.state, l.note, l.attempts, l.next_at, l.queued_at,
	l.taken_at, l.slot_at, l.dated_at, l.superseded_at, l.done_at`

// queued is a letter that a job is inserted for.
type queued struct {
	ID     ids.LetterID `db:"id"`
	State  State        `db:"state"`
	NextAt time.Time    `db:"next_at"`
}

// insertLetters inserts letters that are not there yet, and returns those.
func insertLetters(ctx context.Context, tx postgres.Tx, rows []Kept) ([]queued, error) {
	type row struct {
		ID          ids.LetterID `json:"id"`
		Key         string       `json:"key"`
		Kind        Kind         `json:"kind"`
		Version     int          `json:"version"`
		Copy        int          `json:"copy"`
		MessageID   string       `json:"message_id"`
		FromName    string       `json:"from_name"`
		FromAddress string       `json:"from_address"`
		ToName      string       `json:"to_name"`
		ToAddress   string       `json:"to_address"`
		Domain      string       `json:"domain"`
		Zone        string       `json:"zone"`
		Subject     string       `json:"subject"`
		BodyText    string       `json:"body_text"`
		BodyHTML    string       `json:"body_html"`
		Calendar    *string      `json:"calendar"`
		Method      *string      `json:"method"`
		PutAt       time.Time    `json:"put_at"`
		DueAt       time.Time    `json:"due_at"`
		ExpiresAt   *time.Time   `json:"expires_at"`
		State       State        `json:"state"`
		Note        string       `json:"note"`
		DoneAt      *time.Time   `json:"done_at"`
		N           int          `json:"n"`
	}
	list := make([]row, len(rows))
	for i, k := range rows {
		list[i] = row{k.ID, k.Key, k.Kind, k.Version, k.Copy, k.MessageID, k.FromName, k.FromAddress, k.ToName, k.ToAddress, k.Domain, k.Zone, k.Subject, k.BodyText,
			k.BodyHTML, k.Calendar, k.Method, k.PutAt, k.DueAt, k.ExpiresAt, k.State, k.Note, k.DoneAt, i}
	}
	content, err := json.Marshal(list)
	if err != nil {
		return nil, fmt.Errorf("insert letters: %w", err)
	}
	return postgres.List[queued](ctx, tx, "insert letters", `
		insert into mail.letter (id, key, kind, version, copy, message_id, from_name, from_address, to_name, to_address, domain, zone, subject, body_text, body_html,
			calendar, method, put_at, due_at, expires_at, state, note, attempts, next_at, queued_at, done_at)
		select id, key, kind, version, copy, message_id, from_name, from_address, to_name, to_address, domain, zone, subject, body_text, body_html,
			calendar, method, put_at, due_at, expires_at, state, note, 0, due_at, put_at, done_at
		from jsonb_to_recordset($1) as r(id uuid, key text, kind text, version int, copy int, message_id text, from_name text, from_address text, to_name text,
			to_address text, domain text, zone text, subject text, body_text text, body_html text, calendar text, method text, put_at timestamptz, due_at timestamptz,
			expires_at timestamptz, state text, note text, done_at timestamptz, n int)
		order by key, version, n
		on conflict on constraint letter_kind_key do nothing
		returning id, state, next_at`, string(content))
}

// supersede marks what has not gone of lower versions, and whatever has not gone and is not newer where a cancellation is there. A letter that a
// worker has in hand is marked too: it is not tried again.
func supersede(ctx context.Context, tx postgres.Tx, keys []string, now time.Time) error {
	_, err := tx.Exec(ctx, `
		update mail.letter l set superseded_at = $2,
			state = case when l.state = 'waiting' then 'superseded' else l.state end,
			done_at = case when l.state = 'waiting' then $2 else l.done_at end,
			note = case when l.state = 'waiting' then 'a newer letter about the same thing was put before this one went' else l.note end
		where l.key = any($1) and l.state in ('waiting', 'sending') and l.superseded_at is null and exists (
			select from mail.letter h where h.key = l.key and h.id <> l.id and (h.version > l.version
				or h.method = 'CANCEL' and l.method is distinct from 'CANCEL' and h.version = l.version and h.put_at >= l.put_at))`, keys, now)
	if err != nil {
		return fmt.Errorf("supersede letters: %w", err)
	}
	return nil
}

// listTold returns those of the keys of which a letter with an event has gone, or may have.
func listTold(ctx context.Context, tx postgres.Tx, keys []string) (map[string]bool, error) {
	type row struct {
		Key string `db:"key"`
	}
	rows, err := postgres.List[row](ctx, tx, "find what owners were told", `
		select distinct l.key from mail.letter l where l.key = any($1) and l.method = 'REQUEST' and l.state in ('sending', 'sent', 'bounced')`, keys)
	told := map[string]bool{}
	for _, r := range rows {
		told[r.Key] = true
	}
	return told, err
}

// ListPut returns the highest version of a kind's letters that was put, by key; keys without a letter are left out.
func ListPut(ctx context.Context, db postgres.DB, kind Kind, keys []string) (map[string]int, error) {
	type row struct {
		Key     string `db:"key"`
		Version int    `db:"version"`
	}
	rows, err := postgres.List[row](ctx, db, "find which letters were put", `
		select l.key, max(l.version) as version from mail.letter l where l.kind = $1 and l.key = any($2) group by l.key`, kind, keys)
	put := map[string]int{}
	for _, r := range rows {
		put[r.Key] = r.Version
	}
	return put, err
}

// findLetterhead returns the letterhead that is in use.
func findLetterhead(ctx context.Context, db postgres.DB) (Letterhead, error) {
	list, err := postgres.List[Letterhead](ctx, db, "find the letterhead",
		`select set_at, set_by, name, address, phone, quiet_from, quiet_until from mail.letterhead order by set_at desc limit 1`)
	if err != nil {
		return Letterhead{}, err
	}
	if len(list) == 0 {
		return ImpliedLetterhead(), nil
	}
	return list[0], nil
}

func insertLetterhead(ctx context.Context, tx postgres.Tx, h Letterhead) error {
	_, err := tx.Exec(ctx, `insert into mail.letterhead (set_at, set_by, name, address, phone, quiet_from, quiet_until) values ($1, $2, $3, $4, $5, $6, $7)`,
		h.SetAt, h.SetBy, h.Name, h.Address, h.Phone, h.QuietFrom, h.QuietUntil)
	if err != nil {
		return fmt.Errorf("set the letterhead: %w", err)
	}
	return nil
}

// SavedTemplate is a template as somebody saved it. Without a subject it says that the built-in text is back in use.
type SavedTemplate struct {
	Kind    Kind      `db:"kind"`
	SavedAt time.Time `db:"saved_at"`
	SavedBy string    `db:"saved_by"`
	Subject *string   `db:"subject"`
	Body    *string   `db:"body"`
}

// listSaved returns the latest of what was saved of each kind.
func listSaved(ctx context.Context, db postgres.DB) (map[Kind]SavedTemplate, error) {
	rows, err := postgres.List[SavedTemplate](ctx, db, "list templates",
		`select distinct on (t.kind) t.kind, t.saved_at, t.saved_by, t.subject, t.body from mail.template t order by t.kind, t.saved_at desc`)
	saved := map[Kind]SavedTemplate{}
	for _, r := range rows {
		saved[r.Kind] = r
	}
	return saved, err
}

// listTemplates returns the school's own templates that are in use.
func listTemplates(ctx context.Context, db postgres.DB) (map[Kind]Template, error) {
	saved, err := listSaved(ctx, db)
	own := map[Kind]Template{}
	for kind, s := range saved {
		if s.Subject != nil && s.Body != nil {
			own[kind] = Template{*s.Subject, *s.Body}
		}
	}
	return own, err
}

func insertTemplate(ctx context.Context, tx postgres.Tx, t SavedTemplate) error {
	_, err := tx.Exec(ctx, `insert into mail.template (kind, saved_at, saved_by, subject, body) values ($1, $2, $3, $4, $5)`, t.Kind, t.SavedAt, t.SavedBy, t.Subject, t.Body)
	if err != nil {
		return fmt.Errorf("save a template: %w", err)
	}
	return nil
}

// Filter says which letters are meant. The zero value means all.
type Filter struct {
	Key string
	// Keys are several of them; with Key, that one as well. Empty means all.
	Keys  []string
	State State
	Kind  Kind
	// To is a recipient's address, in any case.
	To string
	// Limit is how many to return at most, the latest ones. 0 means all.
	Limit int
}

// List lists letters, those that were put last first.
func List(ctx context.Context, db postgres.DB, f Filter) ([]Kept, error) {
	var limit *int
	keys := append([]string{}, f.Keys...)
	if f.Key != "" {
		keys = append(keys, f.Key)
	}
	if f.Limit > 0 {
		limit = &f.Limit
	}
	return postgres.List[Kept](ctx, db, "list letters", `select `+letterColumns+` from mail.letter l
		where (cardinality($1::text[]) = 0 or l.key = any($1)) and ($2 = '' or l.state = $2) and ($3 = '' or l.kind = $3) and ($4 = '' or lower(l.to_address) = lower($4))
		order by l.put_at desc, l.id desc limit $5`, keys, f.State, f.Kind, f.To, limit)
}

// countStates counts letters by their state.
func countStates(ctx context.Context, db postgres.DB) (map[State]int, error) {
	type row struct {
		State State `db:"state"`
		N     int   `db:"n"`
	}
	rows, err := postgres.List[row](ctx, db, "count letters", `select l.state, count(*)::int as n from mail.letter l group by l.state`)
	counts := map[State]int{}
	for _, r := range rows {
		counts[r.State] = r.N
	}
	return counts, err
}

// find returns a letter. One that does not exist is NotFound.
func find(ctx context.Context, db postgres.DB, id ids.LetterID, lock bool) (Kept, error) {
	sql := `select ` + letterColumns + ` from mail.letter l where l.id = $1`
	if lock {
		sql += ` for update`
	}
	k, err := postgres.One[Kept](ctx, db, "find a letter", sql, id)
	if postgres.NoRows(err) {
		return k, apperr.NotFoundf("LETTER_UNKNOWN", "There is no letter %s: `longlead mail list` lists them.", id)
	}
	return k, err
}

// findContent returns the bytes of a letter as a server took them; nil for one that none took.
func findContent(ctx context.Context, db postgres.DB, id ids.LetterID) ([]byte, error) {
	type row struct {
		Content []byte `db:"content"`
	}
	r, err := postgres.One[row](ctx, db, "read a letter as it was sent", `select l.content from mail.letter l where l.id = $1`, id)
	return r.Content, err
}

// listAttempts lists what became of a letter's attempts, the first one first.
func listAttempts(ctx context.Context, db postgres.DB, id ids.LetterID) ([]Attempt, error) {
	return postgres.List[Attempt](ctx, db, "list attempts to send a letter", `select a.at, a.outcome, a.answer from mail.attempt a where a.letter_id = $1 order by a.at`, id)
}

// lastCopy is the highest copy of a letter that there is.
func lastCopy(ctx context.Context, tx postgres.Tx, k Kept) (int, error) {
	type row struct {
		Copy int `db:"copy"`
	}
	r, err := postgres.One[row](ctx, tx, "find the last copy of a letter",
		`select max(l.copy) as copy from mail.letter l where l.key = $1 and l.kind = $2 and l.version = $3`, k.Key, k.Kind, k.Version)
	return r.Copy, err
}
