package planner

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// ListAllStaysOn is ListStaysOn for all sites.
func ListAllStaysOn(ctx context.Context, db postgres.DB, day calendar.Date) ([]Stay, error) {
	return postgres.List[Stay](ctx, db, "list all stays of a day", `
		select `+stayColumns+` from planner.stay
		where lower(nights) <= $1 and upper(nights) >= $1 and state in ('published', 'confirmed', 'in residence')
		order by request_id`, day)
}

// ListStaysOf returns the live stays of requests, those that are over among them, by arrival day.
func ListStaysOf(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]Stay, error) {
	return postgres.List[Stay](ctx, db, "list the stays of requests", `
		select `+stayColumns+` from planner.stay
		where request_id = any($1) and state in `+liveStates+` order by lower(nights), request_id`, requests)
}

// ListIsolationsOf returns the isolations of requests, those that are over among them, by day.
func ListIsolationsOf(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]Isolation, error) {
	return postgres.List[Isolation](ctx, db, "list the isolations of requests", `
		select `+isolationColumns+` from planner.isolation where request_id = any($1) order by lower(days), id`, requests)
}
