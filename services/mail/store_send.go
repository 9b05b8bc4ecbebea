package mail

import (
	"context"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// takeUp finds a letter and locks it, unless another worker has it locked.
func takeUp(ctx context.Context, tx postgres.Tx, id ids.LetterID) (k Kept, ok bool, err error) {
	list, err := postgres.List[Kept](ctx, tx, "take up a letter", `select `+letterColumns+` from mail.letter l where l.id = $1 for update skip locked`, id)
	if err != nil || len(list) == 0 {
		return Kept{}, false, err
	}
	return list[0], true, nil
}

// keepState stores what a worker decided about a letter that its transaction has locked.
func keepState(ctx context.Context, tx postgres.Tx, k Kept) error {
	_, err := tx.Exec(ctx, `
		update mail.letter set state = $2, note = $3, attempts = $4, next_at = $5, queued_at = $6, taken_at = $7, slot_at = $8, dated_at = $9, done_at = $10
		where id = $1`, k.ID, k.State, k.Note, k.Attempts, k.NextAt, k.QueuedAt, k.TakenAt, k.SlotAt, k.DatedAt, k.DoneAt)
	if err != nil {
		return fmt.Errorf("store the state of a letter: %w", err)
	}
	return nil
}

// keepContent stores the bytes that a server took.
func keepContent(ctx context.Context, tx postgres.Tx, id ids.LetterID, content []byte) error {
	if _, err := tx.Exec(ctx, `update mail.letter set content = $2 where id = $1`, id, content); err != nil {
		return fmt.Errorf("store a letter as it was sent: %w", err)
	}
	return nil
}

// noteAttempt keeps what became of an attempt. Two of one instant are told apart by a microsecond.
func noteAttempt(ctx context.Context, tx postgres.Tx, id ids.LetterID, a Attempt) error {
	_, err := tx.Exec(ctx, `
		insert into mail.attempt (letter_id, at, outcome, answer)
		select $1, greatest($2::timestamptz, max(a.at) + interval '1 microsecond'), $3, $4 from mail.attempt a where a.letter_id = $1`, id, a.At, a.Outcome, a.Answer)
	if err != nil {
		return fmt.Errorf("note an attempt to send a letter: %w", err)
	}
	return nil
}

// reserve gives a letter to a domain its turn. Turns lie gap apart, but for burst of them that may be taken at once.
func reserve(ctx context.Context, tx postgres.Tx, domain string, now time.Time, gap time.Duration, burst int) (time.Time, error) {
	type row struct {
		FullAt time.Time `db:"full_at"`
	}
	r, err := postgres.One[row](ctx, tx, "give a letter its turn", `
		insert into mail.provider as p (domain, full_at) values ($1, $2::timestamptz + $3::bigint * interval '1 microsecond')
		on conflict on constraint provider_pkey do update set full_at = greatest(p.full_at, $2::timestamptz) + $3::bigint * interval '1 microsecond'
		returning full_at`, domain, now, gap.Microseconds())
	if err != nil {
		return time.Time{}, err
	}
	turn := r.FullAt.Add(-time.Duration(burst) * gap)
	if turn.Before(now) {
		turn = now
	}
	return turn.UTC(), nil
}

// requeueStalled marks letters whose job is lost as queued now, and returns them: those that a worker took up before the instant stalled and never
// brought to an end; those that wait though letters whose turn came later were taken up before it; and, if idle, those that wait though nobody has
// taken up any since. A long queue is no reason: its letters are taken up in the order of their turns. Whatever another transaction has locked is
// left to it.
func requeueStalled(ctx context.Context, tx postgres.Tx, stalled, now time.Time, idle bool, most int) ([]queued, error) {
	return postgres.List[queued](ctx, tx, "find letters whose job is lost", `
		with taken as (
			select t.next_at, t.id from mail.letter t where t.taken_at <= $1 and t.taken_at > $1::timestamptz - interval '1 hour'
			order by t.next_at desc, t.id desc limit 1)
		update mail.letter l set queued_at = $2
		from (select s.id from mail.letter s
			where s.state in ('waiting', 'sending') and s.next_at <= $1 and s.queued_at <= $1 and case
				when s.state = 'sending' then s.taken_at <= $1
				else (s.next_at, s.id) < (select next_at, id from taken) or $4 and not exists (select from mail.letter t where t.taken_at > $1) end
			order by s.next_at, s.id limit $3 for update skip locked) s
		where l.id = s.id returning l.id, l.state, $2::timestamptz as next_at`, stalled, now, most, idle)
}

// findByMessageID finds the letter that a report is about.
func findByMessageID(ctx context.Context, tx postgres.Tx, messageID string) (k Kept, ok bool, err error) {
	list, err := postgres.List[Kept](ctx, tx, "find a letter by its Message-ID", `select `+letterColumns+` from mail.letter l where l.message_id = $1 for update`, messageID)
	if err != nil || len(list) == 0 {
		return Kept{}, false, err
	}
	return list[0], true, nil
}
