package planner

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// wait gives a request that was not placed its reasons: first in one sentence that can be passed on, then choice by choice.
func (t *task) wait(plan ids.PlanID, dog int, explainer *allocation.Explainer) Wait {
	c := &t.candidates[dog]
	w := Wait{PlanID: plan, RequestID: c.Request.ID, RequestCode: c.Request.Code, Refusals: Refusals{OpenChoices: len(c.choices), List: slices.Clone(c.refusals)}}
	if len(c.choices) == 0 {
		w.Hard = true
		w.Reason, w.Remedy = t.noChoiceWords(c)
		return w
	}
	if fellow := t.hinderingFellow(dog); fellow >= 0 {
		w.Hard = true
		reason, remedy := t.noChoiceWords(&t.candidates[fellow])
		w.Reason = fmt.Sprintf("its household comes together, and %s has no place: %s", t.candidates[fellow].Request.Code, reason)
		w.Remedy = remedy
		return w
	}
	refusal := explainer.Blockers(dog)
	w.Hard = refusal.Impossible
	for _, option := range refusal.Options {
		w.Refusals.List = append(w.Refusals.List, t.blockedWords(option))
	}
	best := refusal.Nearest
	if best == nil && len(refusal.Options) > 0 {
		best = &refusal.Options[0]
	}
	if best == nil {
		w.Hard, w.Reason, w.Remedy = true, "no site and day suits the whole household", "bring the household's windows and sites together"
		return w
	}
	words := t.blockedWords(*best)
	w.Reason = fmt.Sprintf("others fill the month: nearest was %s from %s, but %s", words.Site, words.First, words.Reason)
	w.Remedy = words.Remedy
	switch {
	case len(refusal.Dogs) > 1 && !t.fitsAlone(refusal.Dogs):
		w.Hard = true
		w.Reason, w.Remedy = t.togetherWords(dog)
	case w.Hard:
		w.Reason = fmt.Sprintf("earlier promises leave no room: nearest was %s from %s, but %s", words.Site, words.First, words.Reason)
	}
	return w
}

// togetherWords says what a household lacks even with nobody else there.
func (t *task) togetherWords(dog int) (reason, remedy string) {
	reason = "its household comes together, and no site has room for all of it on one day, even with nobody else"
	remedy = "let its dogs come on different days or to different sites"
	alone := allocation.Blockers(&t.problem, nil, dog)
	if len(alone.Options) == 0 {
		return reason, remedy
	}
	best := alone.Options[0]
	if alone.Nearest != nil {
		best = *alone.Nearest
	}
	words := t.blockedWords(best)
	return fmt.Sprintf("%s: at %s from %s, %s", reason, words.Site, words.First, words.Reason), remedy
}

// fitsAlone reports whether a household would fit if no other request were placed. One by one its dogs may fit where
// together they do not: a single large run for two large dogs.
func (t *task) fitsAlone(household []int) bool {
	alone := allocation.Problem{Name: "household", Days: t.problem.Days, Sites: t.problem.Sites, Trainers: slices.Clone(t.problem.Trainers)}
	for i := range alone.Trainers {
		alone.Trainers[i].Easy = nil // the question is whether there is room, whatever it costs
	}
	var all []int
	for i, dog := range household {
		alone.Dogs = append(alone.Dogs, t.problem.Dogs[dog])
		all = append(all, i)
	}
	alone.Together = [][]int{all}
	solution, err := allocation.Solve(&alone, allocation.Options{Threads: 1, Limit: householdLimit})
	// Where the search could not tell, nothing is claimed.
	return err != nil || solution.Status != allocation.Optimal || len(solution.Placements) > 0
}

// householdLimit is far more than the search needs for the dogs of one household.
const householdLimit = 2 * time.Second

// hinderingFellow is a member of the dog's household without any choice, or -1.
func (t *task) hinderingFellow(dog int) int {
	for _, household := range t.problem.Together {
		if !slices.Contains(household, dog) {
			continue
		}
		for _, fellow := range household {
			if len(t.candidates[fellow].choices) == 0 {
				return fellow
			}
		}
	}
	return -1
}

// noChoiceWords says why no choice passed the hard rules, and where a pin left no other.
func (t *task) noChoiceWords(c *candidate) (reason, remedy string) {
	reason, remedy = t.refusalWords(c)
	if c.held != nil {
		reason, remedy = c.held.words+", but "+reason, remedy+", or take the pin away"
	}
	return reason, remedy
}

// refusalWords sums refusals up: the reason that stands for the most days comes first.
func (t *task) refusalWords(c *candidate) (reason, remedy string) {
	type tally struct {
		Refusal
		days  int
		sites []string
	}
	var tallies []*tally
	for _, r := range c.refusals {
		i := slices.IndexFunc(tallies, func(x *tally) bool { return x.Reason == r.Reason })
		if i < 0 {
			i = len(tallies)
			tallies = append(tallies, &tally{Refusal: r})
		}
		tallies[i].days += daysBetween(r.First, r.Last)
		if r.Site != "" && !slices.Contains(tallies[i].sites, r.Site) {
			tallies[i].sites = append(tallies[i].sites, r.Site)
		}
	}
	if len(tallies) == 0 {
		return "no arrival day of its window lies in the month", "widen the window, or plan the month that it lies in"
	}
	slices.SortStableFunc(tallies, func(a, b *tally) int { return cmp.Compare(b.days, a.days) })
	first := tallies[0]
	reason = first.Reason
	if len(first.sites) > 0 && !strings.Contains(reason, " at "+first.sites[0]) {
		reason += " (" + strings.Join(first.sites, ", ") + ")"
	}
	if len(tallies) > 1 {
		reason += fmt.Sprintf("; and on other days: %s", tallies[1].Reason)
	}
	return reason, first.Remedy
}

// blockedWords says what keeps one choice from being taken.
func (t *task) blockedWords(option allocation.BlockedOption) Refusal {
	p := option.Placements[0]
	s := &t.board.sites[p.Site]
	day := t.board.date(p.Arrival).String()
	r := Refusal{Site: s.site.Code, First: day, Last: day, Hard: option.Hard}
	for _, dog := range option.Displaces {
		r.HeldBy = append(r.HeldBy, t.candidates[dog].Request.Code)
	}
	if len(option.Blocks) == 0 && option.Over > 0 {
		r.Reason, r.Remedy = t.longDayWords(option)
		return r
	}
	if len(option.Blocks) == 0 {
		r.Reason, r.Remedy = "it would take more points than it brings", "look at the policy: this placement is worth less than none"
		return r
	}
	r.Reason, r.Remedy = t.blocksWords(option.Blocks)
	return r
}

// blocksWords joins the days of each blocking resource.
func (t *task) blocksWords(blocks []allocation.Block) (reason, remedy string) {
	type what struct {
		kind                 allocation.ResourceKind
		site, class, trainer int
	}
	days := map[what][]int{}
	var order []what
	for _, b := range blocks {
		k := what{b.Kind, b.Site, b.Class, b.Trainer}
		if days[k] == nil {
			order = append(order, k)
		}
		days[k] = append(days[k], b.Day)
	}
	var reasons []string
	for _, k := range order {
		span := days[k]
		when := t.board.date(slices.Min(span)).String()
		if last := slices.Max(span); last > slices.Min(span) {
			when += " to " + t.board.date(last).String()
		}
		text, help := t.resourceWords(k.kind, k.site, k.class, k.trainer)
		reasons = append(reasons, fmt.Sprintf("%s on %s", text, when))
		if remedy == "" {
			remedy = help
		}
	}
	if len(reasons) > 3 {
		reasons = append(reasons[:3], fmt.Sprintf("%d more", len(reasons)-3))
	}
	return strings.Join(reasons, "; "), remedy
}

func (t *task) resourceWords(kind allocation.ResourceKind, site, class, trainer int) (text, remedy string) {
	code := t.board.sites[site].site.Code
	switch kind {
	case allocation.RunNight:
		size := string(t.board.sites[site].groups[class].class)
		return fmt.Sprintf("all %s runs at %s that are free then are taken", size, code), "a longer window, another site, or one more run of class " + size
	case allocation.IntakePlace:
		return "the intake places at " + code + " are taken", "another arrival day, or one more intake place"
	case allocation.HandoverPlace:
		return "the handover places at " + code + " are taken", "another arrival day, or one more handover place"
	case allocation.SiteMinutes:
		return "trainer time at " + code + " is used up, cover included", "another arrival day, or more trainer time at " + code
	case allocation.TrainerMinutes:
		name := t.board.trainers[trainer].trainer.Code
		return "trainer " + name + " has no minutes left", "another arrival day, or more trainer time at " + code
	default:
		name := t.board.trainers[trainer].trainer.Code
		return "trainer " + name + " has as many dogs in hand as allowed", "another arrival day, or more trainer time at " + code
	}
}

// daysBetween counts the days from first to last, both included; texts that are no dates count one.
func daysBetween(first, last string) int {
	from, err := calendar.ParseDate(first)
	if err != nil {
		return 1
	}
	to, err := calendar.ParseDate(last)
	if err != nil {
		return 1
	}
	return to.Sub(from) + 1
}
