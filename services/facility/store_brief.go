package facility

import (
	"context"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// ListRunsByID returns these runs, by ID, without their closures. One that is unknown is absent.
func ListRunsByID(ctx context.Context, db postgres.DB, runs []ids.RunID) ([]Run, error) {
	return postgres.List[Run](ctx, db, "list runs by ID", `
		select id, site_id, code, row_name, length_mm, width_mm, height_mm, isolation from facility.run where id = any($1) order by id`, runs)
}
