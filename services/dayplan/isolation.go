package dayplan

import (
	"context"

	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
)

// readIsolated marks the guests that are in an isolation run on the day.
func (in *Inputs) readIsolated(ctx context.Context, tx postgres.Tx) error {
	isolated, err := planner.IsolatedOn(ctx, tx, in.Site.ID, in.Day)
	if err != nil || len(isolated) == 0 {
		return err
	}
	runs, err := facility.ListRuns(ctx, tx)
	code := make(map[ids.RunID]string, len(runs))
	for _, r := range runs {
		code[r.ID] = r.Code
	}
	for _, i := range isolated {
		for n := range in.Guests {
			if in.Guests[n].Stay.RequestID == i.RequestID {
				in.Guests[n].Isolated = code[i.RunID]
			}
		}
	}
	return err
}

// awayIsolated is when a dog that is isolated does no work, and notes it: all day, or from the time on when the rest of a day is planned
// anew; blocks that lie before stay.
func (t *task) awayIsolated(i int) []dayblocks.Span {
	g, from := &t.in.Guests[i], 0
	if t.redo != nil {
		from = t.redo.since
		for key, w := range t.redo.was {
			if key.dog == g.Case.Dog.ID && w.past {
				from = max(from, w.span.To)
			}
		}
	}
	t.note("%s is isolated in run %s and has no sessions. Who goes to it, and in what order, a veterinarian says.", g.Case.Dog.Code, g.Isolated)
	return []dayblocks.Span{t.within(from, t.day.Minutes)}
}
