package dayplan

import (
	"context"

	"github.com/longlead/longlead/services/postgres"
)

func (in *Inputs) readAppointed(context.Context, postgres.Tx) error { return nil }
