package exchange

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/postgres"
)

// waitForTurn lets one import in at a time, until tx ends. Rows are held against what is stored before they are written: two
// imports at once would not see each other, and the database would refuse the second without saying which row.
func waitForTurn(ctx context.Context, tx postgres.Tx) error {
	// The wait is as long as the import before, whatever the limit of a single statement is.
	if _, err := tx.Exec(ctx, `set local statement_timeout = 0`); err != nil {
		return fmt.Errorf("wait for other imports: %w", err)
	}
	if _, err := tx.Exec(ctx, `select pg_advisory_xact_lock(hashtextextended('longlead import', 0))`); err != nil {
		return fmt.Errorf("wait for other imports: %w", err)
	}
	return nil
}
