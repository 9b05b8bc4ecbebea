package postgres

import (
	"errors"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
)

// SQLSTATE codes that stores and InTx branch on (PostgreSQL documentation, appendix A).
const (
	NotNullViolation    = "23502"
	ForeignKeyViolation = "23503"
	UniqueViolation     = "23505"
	CheckViolation      = "23514"
	ExclusionViolation  = "23P01"

	serializationFailure = "40001"
	deadlockDetected     = "40P01"
	undefinedTable       = "42P01"
	duplicateDatabase    = "42P04"
)

// Constraint names the constraint that err says was violated, and its SQLSTATE, so that a store can turn it into a
// domain error. For a not-null violation, which has no constraint name, name is "table.column". Both results are empty
// when err is no integrity violation.
func Constraint(err error) (name, sqlstate string) {
	var pg *pgconn.PgError
	if !errors.As(err, &pg) || !strings.HasPrefix(pg.Code, "23") {
		return "", ""
	}
	if pg.ConstraintName == "" && pg.ColumnName != "" {
		return pg.TableName + "." + pg.ColumnName, pg.Code
	}
	return pg.ConstraintName, pg.Code
}

// sqlstate returns the code of a database error in err's chain, or "".
func sqlstate(err error) string {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return pg.Code
	}
	return ""
}

// DuplicateDatabase reports whether err says that a database of that name exists already, also when it was being made
// at the same moment.
func DuplicateDatabase(err error) bool {
	name, _ := Constraint(err)
	return sqlstate(err) == duplicateDatabase || name == "pg_database_datname_index"
}
