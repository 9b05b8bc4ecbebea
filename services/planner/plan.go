package planner

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// outcome is a solved month in the words of the database.
type outcome struct {
	placements []Placement
	waits      []Wait
	longDays   []LongDay
	uses       []Use
	cautions   []string
}

// newOutcome turns a solution's indices back into IDs, gives every placement a physical run, and gives every request that was
// not placed its reasons.
func newOutcome(t *task, solution allocation.Solution, plan ids.PlanID) (outcome, error) {
	out := outcome{cautions: append([]string{}, t.board.cautions...)} // never nil: the database takes no null list
	runs, err := assignRuns(t, solution.Placements)
	if err != nil {
		return outcome{}, err
	}
	placed := map[int]bool{}
	for i, p := range solution.Placements {
		placed[p.Dog] = true
		out.placements = append(out.placements, t.placement(plan, p, runs[i]))
		for _, caution := range t.choiceOf(p).need.Cautions {
			out.cautions = append(out.cautions, t.candidates[p.Dog].Request.Code+": "+caution)
		}
	}
	for _, f := range t.settled {
		out.placements = append(out.placements, t.settledPlacement(plan, f))
	}
	if out.waits, err = t.waits(plan, solution.Placements, placed); err != nil {
		return outcome{}, err
	}
	out.longDays = t.longDays(plan, solution.Placements)
	out.uses = t.uses(solution)
	slices.Sort(out.cautions)
	out.cautions = slices.Compact(out.cautions)
	return out, nil
}

// waits gives every request that was not placed its reasons.
func (t *task) waits(plan ids.PlanID, placements []allocation.Placement, placed map[int]bool) ([]Wait, error) {
	explainer := allocation.NewExplainer(&t.problem, placements)
	weigher, err := allocation.NewWeigher(&t.problem, placements)
	if err != nil {
		return nil, err
	}
	var out []Wait
	for dog := range t.candidates {
		if placed[dog] {
			continue
		}
		wait := t.wait(plan, dog, explainer)
		if err := t.weigh(&wait, dog, weigher); err != nil {
			return nil, err
		}
		out = append(out, wait)
	}
	return out, nil
}

// choiceOf finds the choice that a placement took.
func (t *task) choiceOf(p allocation.Placement) choice {
	for _, one := range t.candidates[p.Dog].choices {
		if one.site == p.Site && one.arrival == p.Arrival {
			return one
		}
	}
	panic("planner: a placement is none of its dog's choices, which Check excludes")
}

func (t *task) placement(plan ids.PlanID, p allocation.Placement, run ids.RunID) Placement {
	c, one := &t.candidates[p.Dog], t.choiceOf(p)
	points := t.board.placePoints(c, one)
	points = append(points, t.board.runPoints(one, p.Run, t.board.smallestClass(one))...)
	points = append(points, t.board.trainerPoints(c, one, p.Trainer)...)
	out := Placement{PlanID: plan, RequestID: c.Request.ID, RequestCode: c.Request.Code, SiteID: t.board.sites[p.Site].site.ID, RunID: run,
		TrainerID: t.board.trainers[p.Trainer].trainer.ID, Nights: c.Stay(t.board.date(p.Arrival)), Value: sum(points), Points: points,
		Minutes: one.need.Minutes, CoverMinutes: one.need.CoverMinutes, Standing: StandingNew}
	if promised, ok := t.board.movable[c.Request.ID]; ok {
		out.Standing = StandingMoved
		if promised.SiteID == out.SiteID && promised.Nights == out.Nights && promised.TrainerID == out.TrainerID && promised.RunID == run {
			out.Standing = StandingKept
		}
	}
	return out
}

// settledPlacement lists a request of the month whose stay stood before; it has no points, for nothing was decided.
func (t *task) settledPlacement(plan ids.PlanID, f fixedStay) Placement {
	standing := StandingConfirmed
	switch f.stay.State {
	case StayInResidence, StayGoneHome:
		standing = StandingInResidence
	case StayPublished:
		standing = StandingKept
	}
	return Placement{PlanID: plan, RequestID: f.stay.RequestID, RequestCode: f.code, SiteID: f.stay.SiteID, RunID: f.stay.RunID, TrainerID: f.stay.TrainerID,
		Nights: f.stay.Nights, Points: []Points{}, Minutes: f.need, CoverMinutes: f.cover, Standing: standing}
}

// assignRuns gives each placement, by its position, a physical run of its group. Within a group all runs are alike and each
// is free from some night on, so taking placements by arrival and giving each a run that is free then always succeeds as long
// as the group's number was kept on every night (interval graphs are perfect: Golumbic 1980, from memory). A promise keeps its
// run where it can.
func assignRuns(t *task, placements []allocation.Placement) ([]ids.RunID, error) {
	type slot struct{ site, group int }
	byGroup := map[slot][]int{}
	for i, p := range placements {
		byGroup[slot{p.Site, p.Run}] = append(byGroup[slot{p.Site, p.Run}], i)
	}
	runs := make([]ids.RunID, len(placements))
	for where, members := range byGroup {
		g := &t.board.sites[where.site].groups[where.group]
		clean := t.board.sites[where.site].site.CleanDownDays
		slices.SortFunc(members, func(a, b int) int {
			return cmp.Or(cmp.Compare(placements[a].Arrival, placements[b].Arrival), cmp.Compare(placements[a].Dog, placements[b].Dog))
		})
		free := slices.Clone(g.freeFrom)
		for _, i := range members {
			p := placements[i]
			run := t.pickRun(g, free, p)
			if run < 0 {
				return nil, fmt.Errorf("no run of class %s is free at %s from %s, although their number was kept", g.class, t.board.sites[where.site].site.Code, t.board.date(p.Arrival))
			}
			runs[i] = g.runs[run].ID
			free[run] = p.Arrival + t.candidates[p.Dog].Program.Nights + clean
		}
	}
	return runs, nil
}

// pickRun picks the promised run when it is free, else the one that was freed last, which leaves the long gaps open.
func (t *task) pickRun(g *runGroup, free []int, p allocation.Placement) int {
	promised := t.board.movable[t.candidates[p.Dog].Request.ID].RunID
	best := -1
	for i := range g.runs {
		if free[i] > p.Arrival {
			continue
		}
		if g.runs[i].ID == promised {
			return i
		}
		if best < 0 || free[i] > free[best] {
			best = i
		}
	}
	return best
}

// uses counts what the plan and earlier promises use of every resource on every day of the horizon. It counts from the
// placements and stays alone, so that a fault in the solver's own books would show.
func (t *task) uses(solution allocation.Solution) []Use {
	book := newUseBook(t.board, solution.Prices)
	for _, f := range t.board.fixed {
		book.stay(f.site, f.stay.TrainerID, t.board.classOfRun(f.stay.RunID), f.first, f.leaves, f.need, f.cover)
	}
	for _, p := range solution.Placements {
		one := t.choiceOf(p)
		s := &t.board.sites[p.Site]
		book.stay(p.Site, t.board.trainers[p.Trainer].trainer.ID, string(s.groups[p.Run].class), p.Arrival, one.leaves, one.need.Minutes, one.need.CoverMinutes)
	}
	return book.rows()
}

func (b *board) classOfRun(id ids.RunID) string {
	for _, run := range b.in.Runs {
		if run.ID == id {
			return string(run.Class())
		}
	}
	return ""
}

// useKey names one resource of one site.
type useKey struct {
	site           int
	resource, unit string
}

type useLine struct {
	used, capacity []int
	price          []float64
}

// useBook counts use by resource and day.
type useBook struct {
	board *board
	lines map[useKey]*useLine
}

func newUseBook(b *board, prices allocation.Prices) *useBook {
	book := &useBook{board: b, lines: map[useKey]*useLine{}}
	for i := range b.sites {
		s, p := &b.sites[i], prices.Sites[i]
		book.open(useKey{i, UseIntake, ""}, s.intake, p.Intake)
		book.open(useKey{i, UseHandover, ""}, s.handover, p.Handover)
		book.open(useKey{i, UseSiteMinutes, ""}, s.minutes, p.Minutes)
		for _, run := range b.in.Runs {
			if b.siteAt[run.SiteID] == i && !run.Isolation {
				book.addRun(i, run.ClosedOn, string(run.Class()))
			}
		}
		for g := range s.groups {
			book.priceRuns(useKey{i, UseRuns, string(s.groups[g].class)}, p.Runs[g])
		}
	}
	for i := range b.trainers {
		e, p := &b.trainers[i], prices.Trainers[i]
		book.open(useKey{e.site, UseTrainerMinutes, e.trainer.Code}, e.minutes, p.Minutes)
		book.open(useKey{e.site, UseTrainerDogs, e.trainer.Code}, e.dogs, p.Dogs)
	}
	return book
}

func (u *useBook) open(k useKey, capacity []int, price []float64) {
	line := &useLine{used: make([]int, u.board.days), capacity: capacity, price: make([]float64, u.board.days)}
	copy(line.price, price)
	u.lines[k] = line
}

func (u *useBook) addRun(site int, closed func(calendar.Date) bool, class string) {
	k := useKey{site, UseRuns, class}
	if u.lines[k] == nil {
		u.open(k, make([]int, u.board.days), nil)
	}
	for day := range u.board.days {
		if !closed(u.board.date(day)) {
			u.lines[k].capacity[day]++
		}
	}
}

// priceRuns keeps, of the groups of one class, the highest price of each night: one more run of the class would join the
// group that lacks it most.
func (u *useBook) priceRuns(k useKey, prices []float64) {
	for day := range min(len(prices), u.board.days) {
		u.lines[k].price[day] = max(u.lines[k].price[day], prices[day])
	}
}

func (u *useBook) stay(site int, trainer ids.TrainerID, class string, first, leaves, minutes, cover int) {
	add := func(k useKey, day, n int) {
		if line := u.lines[k]; line != nil && day >= 0 && day < u.board.days {
			line.used[day] += n
		}
	}
	add(useKey{site, UseIntake, ""}, first, 1)
	add(useKey{site, UseHandover, ""}, leaves, 1)
	entry := slices.IndexFunc(u.board.trainers, func(t trainerBoard) bool { return t.trainer.ID == trainer && t.site == site })
	for day := max(0, first); day < min(leaves, u.board.days); day++ {
		add(useKey{site, UseRuns, class}, day, 1)
		if entry < 0 || !u.board.trainers[entry].works[day] {
			add(useKey{site, UseSiteMinutes, ""}, day, cover)
			continue
		}
		code := u.board.trainers[entry].trainer.Code
		add(useKey{site, UseSiteMinutes, ""}, day, minutes)
		add(useKey{site, UseTrainerMinutes, code}, day, minutes)
		add(useKey{site, UseTrainerDogs, code}, day, 1)
	}
}

// rows lists the days on which there is something or something is used.
func (u *useBook) rows() []Use {
	var out []Use
	for k, line := range u.lines {
		for day := range u.board.days {
			if line.capacity[day] != 0 || line.used[day] != 0 {
				out = append(out, Use{SiteID: u.board.sites[k.site].site.ID, Resource: k.resource, Unit: k.unit, Day: u.board.date(day),
					Used: line.used[day], Capacity: line.capacity[day], Price: line.price[day]})
			}
		}
	}
	return out
}
