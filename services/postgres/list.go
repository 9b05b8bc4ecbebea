package postgres

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// List runs a query and returns its rows as structs whose db tags are exactly the columns. what names it in the error:
// "list runs".
func List[T any](ctx context.Context, db DB, what, sql string, args ...any) ([]T, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowToStructByName[T])
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	return found, nil
}

// One is List for exactly one row; without one, NoRows reports true for the error.
func One[T any](ctx context.Context, db DB, what, sql string, args ...any) (T, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		var none T
		return none, fmt.Errorf("%s: %w", what, err)
	}
	found, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[T])
	if err != nil {
		return found, fmt.Errorf("%s: %w", what, err)
	}
	return found, nil
}

// Codes runs a query of two columns, a code and a UUID, and returns them as a map.
func Codes(ctx context.Context, db DB, what, sql string, args ...any) (map[string]uuid.UUID, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	found := map[string]uuid.UUID{}
	var (
		code string
		id   uuid.UUID
	)
	if _, err := pgx.ForEachRow(rows, []any{&code, &id}, func() error { found[code] = id; return nil }); err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	return found, nil
}
