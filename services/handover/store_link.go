package handover

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// Link is a private address of the page of one stay. Its token is nowhere kept, and its hash leaves this file only for comparison.
type Link struct {
	ID        ids.LinkID    `db:"id"`
	RequestID ids.RequestID `db:"request_id"`
	MadeAt    time.Time     `db:"made_at"`
	MadeBy    string        `db:"made_by"`
	ExpiresAt time.Time     `db:"expires_at"`
	// ShutAt and ShutBy are nil for a link that nobody shut.
	ShutAt *time.Time `db:"shut_at"`
	ShutBy *string    `db:"shut_by"`
}

const linkColumns = `l.id, l.request_id, l.made_at, l.made_by, l.expires_at, l.shut_at, l.shut_by`

func insertLink(ctx context.Context, tx postgres.Tx, l Link, token string) error {
	hash := sha256.Sum256([]byte(token))
	_, err := tx.Exec(ctx, `insert into handover.link (id, request_id, token_hash, made_at, made_by, expires_at) values ($1, $2, $3, $4, $5, $6)`,
		l.ID, l.RequestID, hash[:], l.MadeAt, l.MadeBy, l.ExpiresAt)
	if err != nil {
		return fmt.Errorf("insert a private link: %w", err)
	}
	return nil
}

// listLinks returns the links of a request, oldest first.
func listLinks(ctx context.Context, db postgres.DB, request ids.RequestID) ([]Link, error) {
	return postgres.List[Link](ctx, db, "list private links", `select `+linkColumns+` from handover.link l where l.request_id = $1 order by l.made_at, l.id`, request)
}

// shutLinks shuts the links of a request that are not shut.
func shutLinks(ctx context.Context, tx postgres.Tx, request ids.RequestID, by string, at time.Time) error {
	if _, err := tx.Exec(ctx, `update handover.link set shut_at = $2, shut_by = $3 where request_id = $1 and shut_at is null`, request, at, by); err != nil {
		return fmt.Errorf("shut private links: %w", err)
	}
	return nil
}

// errNoLink is all that is told of an address that opens nothing, whether it ran out, was shut, or never was.
var errNoLink = apperr.NotFoundf("LINK_UNKNOWN", "This link does not open anything, or not any more. Use the newest message that you have from the school, or call them.")

// openLink finds the link of a token that is neither shut nor expired. It looks for the hash, about which whoever guesses tokens can choose
// nothing, and compares it in constant time; all tokens that open nothing take the same steps and get the same answer.
func openLink(ctx context.Context, db postgres.DB, token string, now time.Time) (Link, error) {
	type row struct {
		Link
		Hash []byte `db:"token_hash"`
	}
	hash := sha256.Sum256([]byte(token))
	found, err := postgres.List[row](ctx, db, "find a private link by its token", `select `+linkColumns+`, l.token_hash from handover.link l where l.token_hash = $1`, hash[:])
	if err != nil {
		return Link{}, err
	}
	for _, l := range found {
		if subtle.ConstantTimeCompare(l.Hash, hash[:]) == 1 && l.ShutAt == nil && now.Before(l.ExpiresAt) {
			return l.Link, nil
		}
	}
	return Link{}, errNoLink
}
