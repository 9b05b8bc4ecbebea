package daysheet

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// Feed is a calendar feed of a trainer. Its token is nowhere kept, and its hash leaves this file only for comparison.
type Feed struct {
	ID        ids.FeedID    `db:"id"`
	TrainerID ids.TrainerID `db:"trainer_id"`
	MadeAt    time.Time     `db:"made_at"`
	MadeBy    string        `db:"made_by"`
	// RevokedAt and RevokedBy are nil for a feed that is open.
	RevokedAt *time.Time `db:"revoked_at"`
	RevokedBy *string    `db:"revoked_by"`
	// LastRead is the latest day on which somebody read it, in the zone of the trainer's home site; absent when nobody has.
	LastRead calendar.Date `db:"last_read"`

	TrainerCode string `db:"-"`
}

func (f Feed) revoker() string {
	if f.RevokedBy == nil {
		return ""
	}
	return *f.RevokedBy
}

const feedColumns = `f.id, f.trainer_id, f.made_at, f.made_by, f.revoked_at, f.revoked_by, f.last_read`

func insertFeed(ctx context.Context, tx postgres.Tx, f Feed, token string) error {
	hash := sha256.Sum256([]byte(token))
	_, err := tx.Exec(ctx, `insert into daysheet.feed (id, trainer_id, token_hash, made_at, made_by) values ($1, $2, $3, $4, $5)`,
		f.ID, f.TrainerID, hash[:], f.MadeAt, f.MadeBy)
	if err != nil {
		return fmt.Errorf("insert a feed: %w", err)
	}
	return nil
}

func listFeeds(ctx context.Context, db postgres.DB) ([]Feed, error) {
	return postgres.List[Feed](ctx, db, "list feeds", `select `+feedColumns+` from daysheet.feed f order by f.made_at, f.id`)
}

// revokeFeed shuts a feed unless it is shut already. One that does not exist is NotFound.
func revokeFeed(ctx context.Context, tx postgres.Tx, id ids.FeedID, by string, at time.Time) (Feed, error) {
	if _, err := tx.Exec(ctx, `update daysheet.feed set revoked_at = $2, revoked_by = $3 where id = $1 and revoked_at is null`, id, at, by); err != nil {
		return Feed{}, fmt.Errorf("revoke a feed: %w", err)
	}
	f, err := postgres.One[Feed](ctx, tx, "find a feed", `select `+feedColumns+` from daysheet.feed f where f.id = $1`, id)
	if postgres.NoRows(err) {
		return f, apperr.NotFoundf("FEED_UNKNOWN", "there is no feed %s: `longlead feed list` lists them", id)
	}
	return f, err
}

// errNoFeed is all that is told of an address that opens nothing, whether it was revoked or never was.
var errNoFeed = apperr.NotFoundf("FEED_UNKNOWN", "There is no calendar at this address. Ask who runs the server for a new one.")

// openFeed finds the open feed of a token. It looks for the hash, about which whoever guesses tokens can choose nothing, and compares it
// in constant time; an unknown and a revoked token take the same steps and get the same answer.
func openFeed(ctx context.Context, db postgres.DB, token string) (Feed, error) {
	type row struct {
		Feed
		Hash []byte `db:"token_hash"`
	}
	hash := sha256.Sum256([]byte(token))
	found, err := postgres.List[row](ctx, db, "find a feed by its token", `select `+feedColumns+`, f.token_hash from daysheet.feed f where f.token_hash = $1`, hash[:])
	if err != nil {
		return Feed{}, err
	}
	for _, f := range found {
		if subtle.ConstantTimeCompare(f.Hash, hash[:]) == 1 && f.RevokedAt == nil {
			return f.Feed, nil
		}
	}
	return Feed{}, errNoFeed
}

// noteRead keeps the day on which a feed was read last.
func noteRead(ctx context.Context, tx postgres.Tx, id ids.FeedID, day calendar.Date) error {
	if _, err := tx.Exec(ctx, `update daysheet.feed set last_read = $2 where id = $1 and last_read is distinct from $2`, id, day); err != nil {
		return fmt.Errorf("note that a feed was read: %w", err)
	}
	return nil
}
