package planner

import (
	"context"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
)

const (
	defaultLines        = 20
	defaultWorthSeconds = 5
	// trainerDogMinutes is what a trainer's further dog is reckoned with, a day. Our own setting, no source.
	trainerDogMinutes = 60
)

// worthLine is one more of a resource in one week; see Worth in the proto.
type worthLine struct {
	site, text                     string
	days                           calendar.Span
	price                          float64
	checked                        bool
	found, gainLeast, gainMostEver int64
}

// worth lists what could be added to a plan, the dearest first, and solves again with the first few. What is found with one is held
// against what the same time finds without it, so that a longer search is not taken for a gain.
func (o *opened) worth(ctx context.Context, plan *Plan, lines, check int, limit time.Duration) ([]worthLine, error) {
	t := o.task
	additions := allocation.Additions(&t.problem, o.solution.Prices, t.board.weeks(), trainerDogMinutes)
	options := solveFor(ctx, plan, limit)
	before := o.solution
	var out []worthLine
	for _, a := range additions {
		if len(out) == lines {
			break
		}
		if a.Kind == allocation.RunNight && !t.board.largestOfClass(a.Site, a.Class) {
			continue
		}
		line := t.worthLine(a)
		if len(out) < check {
			if len(out) == 0 {
				options.Warm = o.solution.Placements
				again, err := allocation.Solve(&t.problem, options)
				if err != nil {
					return nil, err
				}
				again.Bound = min(again.Bound, o.solution.Bound)
				before = again
			}
			w, err := allocation.CheckWorth(&t.problem, before, a, options)
			if err != nil {
				return nil, err
			}
			line.checked, line.found, line.gainLeast, line.gainMostEver = true, w.Found, w.Least, w.Most
		}
		out = append(out, line)
	}
	return out, context.Cause(ctx)
}

// weeks are the first days of the weeks of the horizon, from Monday; the first is the rest of a week.
func (b *board) weeks() []int {
	first := []int{0}
	for day := 1; day < b.days; day++ {
		if b.date(day).Weekday() == time.Monday {
			first = append(first, day)
		}
	}
	return first
}

// largestOfClass reports whether a group of runs is the one of its class with the most runs. One more run of a class is told once, and
// reckoned as one of these.
func (b *board) largestOfClass(site, group int) bool {
	groups := b.sites[site].groups
	for g := range groups {
		if groups[g].class == groups[group].class && (len(groups[g].runs) > len(groups[group].runs) || len(groups[g].runs) == len(groups[group].runs) && g < group) {
			return false
		}
	}
	return true
}

func (t *task) worthLine(a allocation.Addition) worthLine {
	last := min(a.Last, t.board.days-1)
	out := worthLine{site: t.board.sites[a.Site].site.Code, days: calendar.Span{From: t.board.date(a.Day), To: t.board.date(last + 1)}, price: a.Price}
	switch a.Kind {
	case allocation.RunNight:
		out.text = fmt.Sprintf("1 more run of class %s", t.board.sites[a.Site].groups[a.Class].class)
	case allocation.IntakePlace:
		out.text = "1 more intake place on each day that has some"
	case allocation.HandoverPlace:
		out.text = "1 more handover place on each day that has some"
	default:
		who := t.board.trainers[a.Trainer].trainer
		out.text = fmt.Sprintf("%d more minutes a day and 1 more dog in hand for trainer %s (%s)", a.Minutes, who.Code, heldWords(who.Skills))
	}
	return out
}
