package planner

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
)

// mostWaitingWeeks caps the points for waiting: beyond a quarter of a year a longer wait says little.
const mostWaitingWeeks = 12

// task is a problem for the solver with the way back from its indices.
type task struct {
	board   *board
	problem allocation.Problem
	// candidates by dog index of the problem.
	candidates []candidate
	// settled are requests of the month whose stay stands already.
	settled []fixedStay
	// warm is the promises that may move, as placements: the solver starts from them and never does worse.
	warm []allocation.Placement
}

// buildTask turns inputs into a problem.
func buildTask(in Inputs) (*task, error) {
	b, err := newBoard(in)
	if err != nil {
		return nil, err
	}
	t := &task{board: b, problem: allocation.Problem{Name: in.Month.String(), Days: b.days}}
	for i := range b.sites {
		t.problem.Sites = append(t.problem.Sites, b.sites[i].resources())
	}
	for i := range b.trainers {
		e := &b.trainers[i]
		t.problem.Trainers = append(t.problem.Trainers, allocation.Trainer{Site: e.site, Works: e.works, Minutes: e.minutesLeft, Dogs: e.dogsLeft, Easy: b.easyDay(e)})
	}
	standing := map[ids.RequestID]fixedStay{}
	for _, f := range b.fixed {
		standing[f.stay.RequestID] = f
	}
	households := map[string][]int{}
	for _, c := range in.Cases {
		if f, stands := standing[c.Request.ID]; stands {
			t.settled = append(t.settled, f)
			continue
		}
		t.add(c, b.held(c, b.arrivalsOf(c, standing)), households)
	}
	for _, name := range sortedKeys(households) {
		if dogs := households[name]; len(dogs) > 1 {
			t.problem.Together = append(t.problem.Together, dogs)
		}
	}
	if err := t.problem.Validate(); err != nil {
		return nil, fmt.Errorf("the problem of %s: %w", in.Month, err)
	}
	return t, nil
}

// arrivals are the days, and perhaps the one site, on which a case may arrive.
type arrivals struct {
	days     calendar.Span
	onlySite int
	// fault says why there are none.
	fault ruling
	// held is set when a pin, of the request or of its household, left only one day.
	held *hold
}

// arrivalsOf narrows a window to the month and to what the household allows. A fellow whose stay stands already decides day
// and site.
func (b *board) arrivalsOf(c enrollment.Case, standing map[ids.RequestID]fixedStay) arrivals {
	for _, other := range b.in.Cases {
		f, stands := standing[other.Request.ID]
		if stands && c.Request.Household != "" && other.Request.Household == c.Request.Household {
			day := calendar.Span{From: f.stay.Nights.From, To: f.stay.Nights.From.AddDays(1)}
			if c.Request.Window.Contains(day.From) {
				return arrivals{days: day, onlySite: f.site}
			}
			return arrivals{days: day, onlySite: -1, fault: ruling{reason: fmt.Sprintf("the household comes on %s with request %s, which lies outside the window", day.From, f.code),
				remedy: "widen the window, or take the request out of the household"}}
		}
	}
	days, some := c.Together.Intersect(b.in.Month.Span())
	if some {
		return arrivals{days: days, onlySite: -1}
	}
	inMonth, _ := c.Request.Window.Intersect(b.in.Month.Span())
	return arrivals{days: inMonth, onlySite: -1, fault: ruling{reason: "no arrival day of the month suits every dog of household " + c.Request.Household,
		remedy: "bring the windows of the household together"}}
}

// add makes a case a dog of the problem. One without any choice is a dog without placements: it will wait, with its reasons.
func (t *task) add(c enrollment.Case, when arrivals, households map[string][]int) {
	var found candidate
	if when.fault.against() {
		found = candidate{Case: c}
		found.refuse("", when.days, when.fault)
	} else {
		found = t.board.findChoices(c, when.days, when.onlySite)
	}
	if found.held = when.held; when.held != nil {
		t.board.keepTo(&found, when.held)
	}
	dog := len(t.candidates)
	t.candidates = append(t.candidates, found)
	out := allocation.Dog{Nights: c.Program.Nights}
	for _, one := range found.choices {
		out.Placements = append(out.Placements, t.group(&found, one))
	}
	t.problem.Dogs = append(t.problem.Dogs, out)
	if c.Request.Household != "" {
		households[c.Request.Household] = append(households[c.Request.Household], dog)
	}
	if promised, ok := t.board.movable[c.Request.ID]; ok {
		t.warmStart(dog, &found, promised)
	}
}

// warmStart adds the promised place of a candidate to the start, where it is still a choice.
func (t *task) warmStart(dog int, c *candidate, promised Stay) {
	for _, one := range c.choices {
		s := &t.board.sites[one.site]
		if s.site.ID != promised.SiteID || one.arrival != t.board.day(promised.Nights.From) {
			continue
		}
		group := slices.IndexFunc(one.groups, func(g int) bool {
			return slices.ContainsFunc(s.groups[g].runs, func(r facility.Run) bool { return r.ID == promised.RunID })
		})
		trainer := slices.IndexFunc(one.trainers, func(i int) bool { return t.board.trainers[i].trainer.ID == promised.TrainerID })
		if group >= 0 && trainer >= 0 {
			t.warm = append(t.warm, allocation.Placement{Dog: dog, Site: one.site, Arrival: one.arrival, Run: one.groups[group], Trainer: one.trainers[trainer]})
		}
	}
}

// resources states what promises leave of a site.
func (s *siteBoard) resources() allocation.Site {
	out := allocation.Site{Name: s.site.Code, Intake: s.intakeLeft, Handover: s.handoverLeft, Minutes: s.minutesLeft, CleanDown: s.site.CleanDownDays}
	for _, g := range s.groups {
		out.Runs = append(out.Runs, allocation.RunClass{Class: string(g.class), Capacity: g.capacity})
	}
	return out
}

// group states one choice in points. The points of the placement as a whole go to the group, those of the run and of the
// trainer to their options.
func (t *task) group(c *candidate, one choice) allocation.Group {
	out := allocation.Group{Site: one.site, Arrival: one.arrival, Value: int(sum(t.board.placePoints(c, one)))}
	smallest := t.board.smallestClass(one)
	for _, g := range one.groups {
		out.Runs = append(out.Runs, allocation.RunOption{Class: g, Penalty: -int(sum(t.board.runPoints(one, g, smallest)))})
	}
	for _, i := range one.trainers {
		out.Trainers = append(out.Trainers, allocation.TrainerOption{Trainer: i, Penalty: -int(sum(t.board.trainerPoints(c, one, i))),
			Minutes: one.need.Minutes, Cover: one.need.CoverMinutes})
	}
	return out
}

// counted writes a number with its noun: 1 day, 2 days.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func sum(points []Points) int64 {
	var total int64
	for _, p := range points {
		total += p.Points
	}
	return total
}

// placePoints are the points that do not depend on run or trainer.
func (b *board) placePoints(c *candidate, one choice) []Points {
	policy := b.in.Policy
	var points []Points
	add := func(term string, times int, format string, args ...any) {
		if n := policy[term] * times; n != 0 {
			points = append(points, Points{Term: term, Points: int64(n), Text: fmt.Sprintf(format, args...)})
		}
	}
	r := c.Request
	add(TermPlaced, 1, "placed")
	add(TermNight, c.Program.Nights, "%s", counted(c.Program.Nights, "night"))
	add(TermPriority, 5-r.Priority, "priority %d", r.Priority)
	if r.Deposit {
		add(TermDeposit, 1, "deposit paid")
	}
	arrival := b.date(one.arrival)
	if weeks := min(mostWaitingWeeks, b.in.Month.First().Sub(r.AskedOn)/7); weeks > 0 {
		add(TermWaiting, weeks, "waiting for %s or more when the month begins", counted(weeks, "week"))
	}
	if !r.Wished.IsZero() {
		if days := arrival.Sub(r.Wished); days > 0 {
			add(TermLate, -days, "%s after the wished %s", counted(days, "day"), r.Wished)
		} else if days < 0 {
			add(TermEarly, days, "%s before the wished %s", counted(-days, "day"), r.Wished)
		}
	}
	for _, accepted := range r.Sites {
		if accepted.SiteID == b.sites[one.site].site.ID {
			add(TermTravel, -(accepted.TravelMinutes / 15), "%d minutes of travel", accepted.TravelMinutes)
		}
	}
	if _, pinned := b.pins[r.ID]; pinned {
		add(TermPinned, 1, "pinned by a person")
	}
	if promised, ok := b.movable[r.ID]; ok {
		add(TermPromise, 1, "promised before")
		if promised.SiteID == b.sites[one.site].site.ID && promised.Nights.From == arrival {
			add(TermSameDay, 1, "keeps its promised site and day")
		}
	}
	return points
}

// smallestClass is the smallest class among the groups of a choice.
func (b *board) smallestClass(one choice) int {
	smallest := len(facility.Classes())
	for _, g := range one.groups {
		smallest = min(smallest, classRank(b.sites[one.site].groups[g].class))
	}
	return smallest
}

func classRank(c facility.Class) int { return slices.Index(facility.Classes(), c) }

func classSteps(n int) string {
	if n == 1 {
		return "1 class"
	}
	return fmt.Sprintf("%d classes", n)
}

func (b *board) runPoints(one choice, group, smallest int) []Points {
	steps := classRank(b.sites[one.site].groups[group].class) - smallest
	if steps == 0 || b.in.Policy[TermLargerRun] == 0 {
		return nil
	}
	return []Points{{Term: TermLargerRun, Points: -int64(steps * b.in.Policy[TermLargerRun]), Text: "run larger than needed by " + classSteps(steps)}}
}

func (b *board) trainerPoints(c *candidate, one choice, trainer int) []Points {
	t := &b.trainers[trainer]
	policy := b.in.Policy
	var points []Points
	add := func(term string, times int, format string, args ...any) {
		if n := policy[term] * times; n != 0 {
			points = append(points, Points{Term: term, Points: int64(n), Text: fmt.Sprintf(format, args...)})
		}
	}
	spare := spareSkill(t.trainer.Skills, one.need.Skills)
	add(TermSpareSkill, -spare, "%s of skill to spare", counted(spare, "level"))
	nights := one.leaves - one.arrival
	apart := nights - t.ownDays(one.arrival, one.leaves) - 2*nights/7
	if apart > 0 {
		add(TermDaysApart, -apart, "%s apart from its trainer beyond two in seven", counted(apart, "day"))
	}
	add(TermLoad, -(t.loadPercent / 10), "trainer filled to %d percent by earlier promises", t.loadPercent)
	if promised, ok := b.movable[c.Request.ID]; ok && promised.TrainerID == t.trainer.ID {
		add(TermSameHands, 1, "keeps its promised trainer")
	}
	return points
}

func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K {
	keys := make([]K, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
