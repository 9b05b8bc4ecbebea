package dayplan

import (
	"errors"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/ids"
)

// Limits of a search.
const (
	usualLimit  = 2 * time.Second
	repairLimit = 500 * time.Millisecond
	usualSeed   = 1
)

// solve plans a task, has the plan recounted, and turns it into ours.
func (t *task) solve(o dayblocks.Options) (Plan, error) {
	began := time.Now()
	if t.redo != nil {
		o.Start, o.StartRests = t.redo.start(t)
	}
	found, err := dayblocks.Solve(&t.day, o)
	if errors.Is(err, dayblocks.ErrInvalid) {
		return Plan{}, apperr.Preconditionf("DAY_IMPOSSIBLE", "the day of %s on %s cannot be planned as it is recorded (%v)", t.in.Site.Code, t.in.Day, err)
	}
	if err != nil {
		return Plan{}, err
	}
	value, err := dayblocks.Check(&t.day, found)
	if err != nil {
		return Plan{}, fmt.Errorf("recount the day of %s on %s: %w", t.in.Site.Code, t.in.Day, err)
	}
	if value != found.Value {
		return Plan{}, fmt.Errorf("recount the day of %s on %s: worth %d, not %d", t.in.Site.Code, t.in.Day, value, found.Value)
	}
	plan := t.plan(found)
	plan.Seed, plan.Seconds = int64(o.Seed), time.Since(began).Seconds()
	plan.Fingerprint, err = t.in.Fingerprint()
	return plan, err
}

// plan is the way back from indices and minutes.
func (t *task) plan(found *dayblocks.Plan) Plan {
	p := Plan{SiteID: t.in.Site.ID, Day: t.in.Day, State: StateLive, Value: int64(found.Value), Bound: int64(found.Bound), Dogs: len(t.in.Guests), Notes: t.notes}
	for _, b := range found.Blocks {
		g := &t.in.Guests[b.Dog]
		trainer := t.trainers[b.Trainer].ID
		block := Block{DogID: g.Case.Dog.ID, Session: b.Session + 1, TrainerID: trainer, Own: trainer == g.Stay.TrainerID,
			AreaID: t.area(b.Area).ID, SkillID: t.skillID(b.Dog, b.Session), From: t.clock.instant(b.Start),
			To: t.clock.instant(b.Start + t.day.Dogs[b.Dog].Sessions[b.Session].Minutes)}
		if b.Second >= 0 {
			block.SecondID = t.trainers[b.Second].ID
		}
		p.Blocks = append(p.Blocks, block)
	}
	for n, starts := range found.Breaks {
		for k, from := range starts {
			p.Pauses = append(p.Pauses, Pause{TrainerID: t.trainers[n].ID, Kind: t.kinds[n][k], From: t.clock.instant(from),
				To: t.clock.instant(from + t.day.Trainers[n].Breaks[k].Minutes)})
		}
	}
	for _, d := range t.duties {
		out := Duty{DogID: t.in.Guests[d.dog].Case.Dog.ID, Kind: d.kind, From: t.clock.instant(d.span.From), To: t.clock.instant(d.span.To)}
		if d.trainer >= 0 {
			out.TrainerID = t.trainers[d.trainer].ID
		}
		p.Duties = append(p.Duties, out)
	}
	for _, x := range found.Dropped {
		reason, remedy := t.words(x)
		p.Drops = append(p.Drops, Drop{DogID: t.in.Guests[x.Dog].Case.Dog.ID, Session: x.Session + 1, SkillID: t.skillID(x.Dog, x.Session), Reason: reason, Remedy: remedy})
	}
	return p
}

func (t *task) skillID(dog, session int) ids.SkillID {
	if t.skills[dog] == nil {
		return ids.SkillID{}
	}
	return t.skills[dog][session]
}
