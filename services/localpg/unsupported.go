//go:build !unix

package localpg

import (
	"context"
	"errors"
)

var errUnsupported = errors.New("Longlead cannot run its own database on this system: give it the URL of a PostgreSQL server instead")

// Start always fails on this system.
func Start(context.Context, Options) (*Server, error) { return nil, errUnsupported }

// Join always fails on this system.
func Join(context.Context, string) (*Server, error) { return nil, errUnsupported }
