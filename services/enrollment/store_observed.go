package enrollment

import (
	"context"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// ListRequestsOfDog returns the IDs of all requests of a dog, whatever their state, by code.
func ListRequestsOfDog(ctx context.Context, db postgres.DB, dog ids.DogID) ([]ids.RequestID, error) {
	type row struct {
		ID ids.RequestID `db:"id"`
	}
	rows, err := postgres.List[row](ctx, db, "list requests of a dog", `select id from enrollment.request where dog_id = $1 order by code`, dog)
	requests := make([]ids.RequestID, len(rows))
	for i, r := range rows {
		requests[i] = r.ID
	}
	return requests, err
}
