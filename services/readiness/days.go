package readiness

import (
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/workload"
)

// plan is what a stay holds in sessions, before and after the day that is asked for.
type plan struct {
	// from is the first day whose sessions are still to come, as far as they are not logged.
	from calendar.Date
	// days are whole training days until graduation, other the sessions beside them.
	days, other int
	// planned sessions lay before from, of which held are logged.
	planned, held int
}

// firstDay is the day from which sessions are still to come: the day that is asked for. Where that lies ahead, what lies between the
// last day that is known and it is still to come as well.
func (in *inputs) firstDay(g guest) (calendar.Date, error) {
	zone, err := calendar.LoadZone(g.Zone)
	if err != nil {
		return calendar.Date{}, err
	}
	from := calendar.DateIn(in.now, zone)
	if !in.day.After(from) {
		return in.day, nil
	}
	if from.Before(g.Stay.Nights.From) {
		from = g.Stay.Nights.From
	}
	if n := len(g.Sessions); n > 0 && g.Sessions[n-1].Day.After(from) {
		from = g.Sessions[n-1].Day
	}
	return from, nil
}

// on is how many sessions a day holds by program and roster, and whether it is a whole training day. The graduation day is not asked for: the
// check is held then.
func (in *inputs) on(g guest, day calendar.Date) (sessions int, whole bool) {
	n := g.Case.Program.SessionsADay
	switch {
	case g.isolatedOn(day) != nil:
		return 0, false
	case day == g.Stay.Nights.From:
		return min(n, workload.EndSessions), false
	case in.works[workday{g.Stay.TrainerID, g.Stay.SiteID, day}]:
		return n, true
	}
	return min(n, workload.CoverSessions), false
}

// isolatedOn is the isolation that a day is part of, or nil.
func (g guest) isolatedOn(day calendar.Date) *calendar.Span {
	for i := range g.Isolated {
		if g.Isolated[i].Contains(day) {
			return &g.Isolated[i]
		}
	}
	return nil
}

// planOf counts the sessions of a stay.
func (in *inputs) planOf(g guest) (plan, error) {
	from, err := in.firstDay(g)
	if err != nil {
		return plan{}, err
	}
	p := plan{from: from}
	today := 0
	for _, s := range g.Sessions {
		switch {
		case s.Day.Before(from):
			p.held++
		case s.Day == from:
			today++
		}
	}
	for day := range g.Stay.Nights.Dates() {
		n, whole := in.on(g, day)
		switch {
		case day.Before(from):
			p.planned += n
		case day == from && today > 0:
			p.other += max(0, n-today)
		case whole:
			p.days++
		default:
			p.other += n
		}
	}
	return p, nil
}

// graduation is the first day after n more training days on which the dog's trainer is there; absent where the roster ends before.
func (in *inputs) graduation(g guest, n int) calendar.Date {
	for day := range (calendar.Span{From: g.Stay.Nights.To, To: in.rosterTo}).Dates() {
		if !in.works[workday{g.Stay.TrainerID, g.Stay.SiteID, day}] {
			continue
		}
		if n == 0 {
			return day
		}
		n--
	}
	return calendar.Date{}
}
