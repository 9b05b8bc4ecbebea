package enrollment

import (
	"context"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// ListRequestsOfDog returns the IDs of all requests of a dog, whatever their state, by code.
func ListRequestsOfDog(ctx context.Context, db postgres.DB, dog ids.DogID) ([]ids.RequestID, error) {
	return listRequestIDs(ctx, db, "list requests of a dog", `select id from enrollment.request where dog_id = $1 order by code`, dog)
}

// ListRequestsOfProgram returns the IDs of all requests for a program, whatever their state, by code.
func ListRequestsOfProgram(ctx context.Context, db postgres.DB, program ids.ProgramID) ([]ids.RequestID, error) {
	return listRequestIDs(ctx, db, "list requests for a program", `select id from enrollment.request where program_id = $1 order by code`, program)
}

func listRequestIDs(ctx context.Context, db postgres.DB, what, sql string, of any) ([]ids.RequestID, error) {
	type row struct {
		ID ids.RequestID `db:"id"`
	}
	rows, err := postgres.List[row](ctx, db, what, sql, of)
	requests := make([]ids.RequestID, len(rows))
	for i, r := range rows {
		requests[i] = r.ID
	}
	return requests, err
}
