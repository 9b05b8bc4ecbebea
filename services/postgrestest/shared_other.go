//go:build !unix

package postgrestest

import (
	"context"
	"errors"

	"github.com/longlead/longlead/services/localpg"
)

func sharedServer(context.Context, string) (*localpg.Server, error) {
	return nil, errors.New("this system cannot run a private test server")
}

func alive(int) bool { return true }
