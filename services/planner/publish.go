package planner

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// Published says what publishing did.
type Published struct {
	Plan                      Plan
	New, Kept, Moved, Dropped int
}

// publish turns a draft into promises in the caller's transaction, all or none. It refuses a plan that is no draft, and one
// whose inputs have changed since it was made: what it promised might not hold.
func publish(ctx context.Context, tx postgres.Tx, id ids.PlanID, who author) (Published, error) {
	// Two publishes at once wait for each other here, so the second sees what the first promised.
	if err := holdPublishing(ctx, tx); err != nil {
		return Published{}, err
	}
	plan, err := findPlan(ctx, tx, id, true)
	if err != nil {
		return Published{}, err
	}
	if err := mayPublish(plan); err != nil {
		return Published{}, err
	}
	in, err := readInputs(ctx, tx, plan.Month)
	if err != nil {
		return Published{}, err
	}
	now, err := in.Fingerprint()
	if err != nil {
		return Published{}, err
	}
	if now != plan.Fingerprint {
		return Published{}, apperr.Preconditionf(inputsChanged,
			"requests, trainers, places, promises or the policy have changed since plan %d of %s was drafted, so nothing was published: draft it again", plan.Number, plan.Month)
	}
	placements, err := listPlacements(ctx, tx, id)
	if err != nil {
		return Published{}, err
	}
	result, err := promise(ctx, tx, plan, in, placements, who)
	if err != nil {
		return Published{}, err
	}
	if err := publishState(ctx, tx, plan, who); err != nil {
		return Published{}, err
	}
	result.Plan, err = findPlan(ctx, tx, id, false)
	return result, err
}

// mayPublish refuses every state but draft, in its own words.
func mayPublish(p Plan) error {
	switch p.State {
	case StateDraft:
		return nil
	case StatePublished:
		return apperr.Preconditionf("PUBLISHED_ALREADY", "plan %d of %s is published already: nothing was changed", p.Number, p.Month)
	case StateSuperseded:
		return apperr.Preconditionf("SUPERSEDED", "plan %d of %s was published before and a later plan has taken its place: draft the month again", p.Number, p.Month)
	case StateDrafting:
		return apperr.Preconditionf("STILL_DRAFTING", "plan %d of %s is still being drafted: wait until it is done", p.Number, p.Month)
	default:
		return apperr.Preconditionf("NOT_A_DRAFT", "plan %d of %s is %s and has nothing to publish: draft the month again", p.Number, p.Month, p.State)
	}
}

// promise writes the stays: first those that give way end, then the new ones begin, so that runs are free when they are
// taken.
func promise(ctx context.Context, tx postgres.Tx, plan Plan, in Inputs, placements []Placement, who author) (Published, error) {
	var (
		result         Published
		moved, dropped []Stay
		begin          []Stay
	)
	placed := map[ids.RequestID]Placement{}
	for _, p := range placements {
		placed[p.RequestID] = p
	}
	b, err := newBoard(in)
	if err != nil {
		return result, err
	}
	for _, s := range in.Stays {
		if _, movable := b.movable[s.RequestID]; !movable {
			continue
		}
		switch p, stays := placed[s.RequestID]; {
		case !stays:
			dropped = append(dropped, s)
		case p.Standing == StandingMoved:
			moved = append(moved, s)
		}
	}
	for _, p := range placements {
		switch p.Standing {
		case StandingNew, StandingMoved:
			begin = append(begin, Stay{ID: ids.StayID(who.mint()), RequestID: p.RequestID, SiteID: p.SiteID, RunID: p.RunID,
				TrainerID: p.TrainerID, Nights: p.Nights, State: StayPublished})
		case StandingKept:
			result.Kept++
		}
	}
	result.Moved, result.Dropped, result.New = len(moved), len(dropped), len(begin)-len(moved)
	reason := fmt.Sprintf("plan %d of %s", plan.Number, plan.Month)
	if err := setStayStates(ctx, tx, who, moved, StayReplaced, "moved by "+reason); err != nil {
		return result, err
	}
	if err := setStayStates(ctx, tx, who, dropped, StayCancelled, "not placed by "+reason); err != nil {
		return result, err
	}
	return result, insertStays(ctx, tx, who, plan.ID, begin, reason)
}
