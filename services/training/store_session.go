package training

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// selectSessions reads sessions with what replaced each.
const selectSessions = `
	select s.id, s.dog_id, s.trainer_id, s.skill_id, s.trained_at, s.arrived_at, s.day, s.trials, s.successes, s.hold_seconds,
	       s.distance_cm, s.distraction, s.settled, s.note, s.logged_by, s.replaces_id, n.id as replaced_by_id
	from training.session s left join training.session n on n.replaces_id = s.id `

// inOrder sorts sessions by day and time; the ID settles what is alike.
const inOrder = ` order by s.day, s.trained_at, s.id`

// ListSessions returns the sessions of the dogs that count, by day and time. The zero span asks for all days.
func ListSessions(ctx context.Context, db postgres.DB, dogs []ids.DogID, days calendar.Span) ([]Session, error) {
	kept, err := listSessionsOf(ctx, db, dogs, days.From, days.To, false)
	sessions := make([]Session, len(kept))
	for i, k := range kept {
		sessions[i] = k.Session
	}
	return sessions, err
}

// listSessionsOf returns the sessions of the dogs from a day to before another, by day and time. An absent day is no limit.
// Without history they are those that count.
func listSessionsOf(ctx context.Context, db postgres.DB, dogs []ids.DogID, from, before calendar.Date, withHistory bool) ([]Kept, error) {
	return postgres.List[Kept](ctx, db, "list sessions of dogs", selectSessions+`
		where s.dog_id = any($1) and ($2::date is null or s.day >= $2) and ($3::date is null or s.day < $3) and ($4 or n.id is null)`+inOrder,
		dogs, from, before, withHistory)
}

// listSessionsBy returns the sessions of a day that count and that a trainer held, by time.
func listSessionsBy(ctx context.Context, db postgres.DB, trainer ids.TrainerID, day calendar.Date) ([]Kept, error) {
	return postgres.List[Kept](ctx, db, "list the sessions of a trainer", selectSessions+`where s.trainer_id = $1 and s.day = $2 and n.id is null`+inOrder, trainer, day)
}

// listAllSessions returns every session by ID.
func listAllSessions(ctx context.Context, db postgres.DB) ([]Kept, error) {
	return postgres.List[Kept](ctx, db, "list all sessions", selectSessions+` order by s.id`)
}

// listSessionsByID returns the sessions with these IDs; one that is unknown is absent.
func listSessionsByID(ctx context.Context, db postgres.DB, sessions []ids.SessionID) (map[ids.SessionID]Kept, error) {
	found, err := postgres.List[Kept](ctx, db, "list sessions by ID", selectSessions+`where s.id = any($1)`, sessions)
	byID := make(map[ids.SessionID]Kept, len(found))
	for _, k := range found {
		byID[k.ID] = k
	}
	return byID, err
}

// findSession returns a session, and whether there is one with that ID.
func findSession(ctx context.Context, db postgres.DB, id ids.SessionID) (Kept, bool, error) {
	kept, err := postgres.One[Kept](ctx, db, "find a session", selectSessions+`where s.id = $1`, id)
	if postgres.NoRows(err) {
		return Kept{}, false, nil
	}
	return kept, err == nil, err
}

// listChain returns all that was logged of a session, newest first: the one that counts, then what each replaced. It is empty
// when there is no such session. Any of them may be named.
func listChain(ctx context.Context, db postgres.DB, id ids.SessionID) ([]Kept, error) {
	return postgres.List[Kept](ctx, db, "list the history of a session", `
		with recursive later as (
		  select id, 0 as place from training.session where id = $1
		  union all
		  select s.id, l.place + 1 from training.session s join later l on s.replaces_id = l.id),
		earlier as (
		  select id, replaces_id, 0 as place from training.session where id = $1
		  union all
		  select s.id, s.replaces_id, e.place - 1 from training.session s join earlier e on s.id = e.replaces_id),
		chain as (select id, place from later union select id, place from earlier)`+selectSessions+`
		join chain c on c.id = s.id order by c.place desc`, id)
}

// insertSession adds a session. It reports false, and adds nothing, when its ID is known or what it replaces is replaced
// already; it waits for others who are just about to do the same.
func insertSession(ctx context.Context, tx postgres.Tx, s Session) (bool, error) {
	n, err := insertSessions(ctx, tx, []Session{s})
	return n == 1, err
}

// insertSessions is insertSession for many, and returns how many it added.
func insertSessions(ctx context.Context, tx postgres.Tx, sessions []Session) (int, error) {
	done, err := tx.Exec(ctx, `
		insert into training.session (id, dog_id, trainer_id, skill_id, trained_at, arrived_at, day, trials, successes, hold_seconds,
		  distance_cm, distraction, settled, note, logged_by, replaces_id)
		select id, dog_id, trainer_id, skill_id, trained_at, arrived_at, day, trials, successes, hold_seconds,
		  distance_cm, distraction, settled, note, logged_by, nullif(replaces_id, '')::uuid
		from jsonb_to_recordset($1) as r(id uuid, dog_id uuid, trainer_id uuid, skill_id uuid, trained_at timestamptz, arrived_at timestamptz,
		  day date, trials int, successes int, hold_seconds int, distance_cm int, distraction int, settled int, note text, logged_by text,
		  replaces_id text)
		on conflict do nothing`, sessions)
	if err != nil {
		return 0, fmt.Errorf("insert %d sessions: %w", len(sessions), err)
	}
	return int(done.RowsAffected()), nil
}
