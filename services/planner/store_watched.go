package planner

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// WatchedOn returns the dogs that are watched at a site on a day, since they were near one that was isolated. A dog that was near two
// stands there twice.
func WatchedOn(ctx context.Context, db postgres.DB, site ids.SiteID, day calendar.Date) ([]Watch, error) {
	return listWatchedOn(ctx, db, site, day)
}
