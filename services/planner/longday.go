package planner

import (
	"fmt"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// quarter is the minutes of a quarter of an hour, in which the load of a day is counted, for each dog to the nearest. Points are whole
// numbers, and a point for every minute would outweigh everything else.
const quarter = 15

// quarters is how many quarters of an hour some minutes are, to the nearest, as the solver counts them.
func quarters(minutes int) int { return (minutes + quarter/2) / quarter }

// LongDay is a trainer's day at a site that a plan fills beyond the easy share of its minutes. Points are below zero; they belong to
// the day as a whole and to no one request, and count towards the plan's value.
type LongDay struct {
	PlanID    ids.PlanID    `db:"plan_id"`
	SiteID    ids.SiteID    `db:"site_id"`
	TrainerID ids.TrainerID `db:"trainer_id"`
	Day       calendar.Date `db:"day"`
	// Quarters are the quarters of an hour that this plan adds beyond the share; what earlier promises alone take beyond it is not its doing.
	Quarters int   `db:"quarters"`
	Points   int64 `db:"points"`
}

// text says what the points are taken for.
func (d LongDay) text(policy Policy) string {
	return fmt.Sprintf("%s beyond %d percent of the day", counted(d.Quarters, "quarter hour"), policy[TermEasyDay])
}

// easyDay is the soft level of a trainer's days for the solver: the easy share of each day's minutes, less what promises that stand take
// of it. The same share for everybody is what makes load even. nil where long days cost nothing.
func (b *board) easyDay(t *trainerBoard) *allocation.Easy {
	points := b.in.Policy[TermLongDay]
	if points <= 0 {
		return nil
	}
	easy := &allocation.Easy{Over: points, Unit: quarter, Upto: make([]int, b.days)}
	for day, minutes := range t.minutes {
		easy.Upto[day] = max(0, minutes*b.in.Policy[TermEasyDay]/100/quarter-t.quartersHeld[day])
	}
	return easy
}

// longDays lists where a plan runs over the easy share.
func (t *task) longDays(plan ids.PlanID, placements []allocation.Placement) []LongDay {
	var out []LongDay
	for _, over := range allocation.Overflow(&t.problem, placements) {
		e := &t.board.trainers[over.Trainer]
		out = append(out, LongDay{PlanID: plan, SiteID: t.board.sites[e.site].site.ID, TrainerID: e.trainer.ID, Day: t.board.date(over.Day),
			Quarters: over.Units, Points: -over.Points})
	}
	return out
}

// longDayWords says why a choice that there is room for was not taken.
func (t *task) longDayWords(option allocation.BlockedOption) (reason, remedy string) {
	code := t.board.sites[option.Placements[0].Site].site.Code
	return fmt.Sprintf("its trainer's days would run beyond %d percent of their minutes, which takes %d points where it brings %d",
			t.board.in.Policy[TermEasyDay], option.Over, option.Value),
		fmt.Sprintf("more trainer time at %s, or other points for %q and %q in the policy", code, TermLongDay, TermEasyDay)
}
