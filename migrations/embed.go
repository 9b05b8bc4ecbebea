// Package migrations holds the SQL files that build the database schema, in the order of their numbers.
//
// Each file is one small change, forward only, in goose's format. postgres.Migrate applies them.
package migrations

import "embed"

// FS holds the migration files at its root.
//
//go:embed *.sql
var FS embed.FS
