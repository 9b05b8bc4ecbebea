package exchange

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/postgres"
)

// waitForTurn lets one import in at a time, until tx ends. Rows are held against what is stored before they are written: two
// imports at once would not see each other, and the database would refuse the second without saying which row.
func waitForTurn(ctx context.Context, tx postgres.Tx) error {
	for _, setting := range []string{
		// The wait is as long as the import before, whatever the limit of a single statement is.
		`set local statement_timeout = 0`,
		// Statements of an import look thousands of codes up at once. A plan that is made without them compares every stored row with
		// each: a file of 100,000 requests then took five times as long.
		`set local plan_cache_mode = force_custom_plan`,
	} {
		if _, err := tx.Exec(ctx, setting); err != nil {
			return fmt.Errorf("prepare an import: %w", err)
		}
	}
	if _, err := tx.Exec(ctx, `select pg_advisory_xact_lock(hashtextextended('longlead import', 0))`); err != nil {
		return fmt.Errorf("wait for other imports: %w", err)
	}
	return nil
}
