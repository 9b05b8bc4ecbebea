package planner

import (
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
)

// mostDaysMore is how many days earlier or later than its window a request is tried.
const mostDaysMore = 14

// mostChanges is how many changes are kept for a request, and mostInRemedy how many of them its remedy names.
const (
	mostChanges  = 6
	mostInRemedy = 2
)

// Kinds of change. Those of offers come first, in the order of allocation.Offer.Kind.
const (
	ChangeWindow   = "window"
	ChangeSite     = "site"
	ChangeCapacity = "capacity"
	ChangeNone     = "none"
)

const (
	offerWindow = iota
	offerSite
)

// Change is something that would have admitted a request with every other placement as it is. It was applied to the plan's problem
// and the plan with the request recounted; Points is what the plan gains.
type Change struct {
	Kind    string  `json:"kind"`
	Text    string  `json:"text"`
	Site    string  `json:"site"`
	Arrival string  `json:"arrival"`
	Trainer string  `json:"trainer"`
	Points  int64   `json:"points"`
	Adds    []Added `json:"adds,omitempty"`
}

// Added is more of one resource on the days from First to Last; Resource and Unit are those of Use.
type Added struct {
	Site     string `json:"site"`
	Resource string `json:"resource"`
	Unit     string `json:"unit"`
	First    string `json:"first"`
	Last     string `json:"last"`
	Amount   int    `json:"amount"`
}

// Displaced says what letting a request in as things are would do: a plan with it was made and recounted. Points is what that plan
// is worth less; a better rearrangement could only lower it.
type Displaced struct {
	Points  int64    `json:"points"`
	GivenUp []string `json:"given_up,omitempty"`
	Moved   []string `json:"moved,omitempty"`
	Site    string   `json:"site"`
	Arrival string   `json:"arrival"`
}

// weigh adds to a wait what would have admitted the request, and what letting it in would displace. All of it is limited by work
// and not by time, so that a plan is the same on every machine.
func (t *task) weigh(wait *Wait, dog int, w *allocation.Weigher) error {
	admissions, err := w.Admissions(dog, t.offers(w.Household(dog)))
	if err != nil {
		return fmt.Errorf("weigh changes for request %s: %w", t.candidates[dog].Request.Code, err)
	}
	for _, a := range admissions {
		if len(a.Lacks) == 0 && a.Offer < 0 {
			wait.Refusals.Changes = []Change{t.change(dog, &a)}
			wait.Reason = fmt.Sprintf("the search ended before it took the place that is free at %s from %s", wait.Refusals.Changes[0].Site, wait.Refusals.Changes[0].Arrival)
			wait.Remedy = "draft the month again with more time"
			return nil
		}
		if len(wait.Refusals.Changes) < mostChanges {
			wait.Refusals.Changes = append(wait.Refusals.Changes, t.change(dog, &a))
		}
	}
	t.sayChanges(wait, admissions)
	if wait.Hard {
		return nil
	}
	d, err := w.Displace(dog)
	if err != nil {
		return fmt.Errorf("weigh what request %s would displace: %w", t.candidates[dog].Request.Code, err)
	}
	if d != nil {
		wait.Refusals.Displaced = t.displaced(dog, d)
		wait.Reason += "; " + wait.Refusals.Displaced.words()
	}
	return nil
}

// sayChanges puts the smallest changes into the remedy. What the rules refuse keeps its own remedy before them.
func (t *task) sayChanges(wait *Wait, admissions []allocation.Admission) {
	var texts []string
	for i, c := range wait.Refusals.Changes {
		if i == 0 || i < mostInRemedy && things(&admissions[i]) == 1 {
			texts = append(texts, c.Text)
		}
	}
	switch {
	case len(texts) == 0 && !wait.Hard:
		wait.Remedy = "no change that was tried would have admitted it with every other placement as it is"
	case len(texts) == 0:
	case wait.Hard:
		wait.Remedy += "; or " + strings.Join(texts, ", or ") + " would have admitted it"
	default:
		wait.Remedy = strings.Join(texts, ", or ") + " would have admitted it"
	}
}

// things counts what an admission asks for.
func things(a *allocation.Admission) int {
	n := len(a.Lacks)
	if a.Offer >= 0 {
		n++
	}
	return n
}

func (t *task) displaced(dog int, d *allocation.Displacement) *Displaced {
	out := &Displaced{Points: d.Cost}
	for _, other := range d.Gone {
		out.GivenUp = append(out.GivenUp, t.candidates[other].Request.Code)
	}
	for _, other := range d.Moved {
		out.Moved = append(out.Moved, t.candidates[other].Request.Code)
	}
	at := slices.IndexFunc(d.Plan, func(p allocation.Placement) bool { return p.Dog == dog })
	out.Site, out.Arrival = t.board.sites[d.Plan[at].Site].site.Code, t.board.date(d.Plan[at].Arrival).String()
	return out
}

// offers lists what the owner could allow: other arrival days, other sites. A larger class of run is no offer, since every run that
// is large enough is open to a dog already.
func (t *task) offers(household []int) []allocation.Offer {
	windows := t.windows(household)
	if windows == nil {
		return nil
	}
	month := t.board.in.Month.Span()
	var out []allocation.Offer
	for arrival := range month.Dates() {
		more := 0
		for _, window := range windows {
			more = max(more, daysOutside(window, arrival))
		}
		if more > 0 && more <= mostDaysMore {
			out = t.offer(out, household, offerWindow, more, arrival, true)
		}
		if more == 0 {
			out = t.offer(out, household, offerSite, 0, arrival, false)
		}
	}
	return out
}

// windows are the arrival windows of a household; nil when a stay of it stands already, or one of its dogs is not among the requests
// of the month, since what is asked of one dog then depends on more than this plan.
func (t *task) windows(household []int) []calendar.Span {
	var out []calendar.Span
	if t.anyHeld(household) {
		return nil // what the owner could allow is no help: a person's word leaves one day
	}
	first := &t.candidates[household[0]]
	common := first.Request.Window
	for _, dog := range household {
		window := t.candidates[dog].Request.Window
		out = append(out, window)
		common, _ = common.Intersect(window)
	}
	if first.Request.Household == "" {
		return out
	}
	if common != first.Together || t.householdStands(first.Request.Household) {
		return nil
	}
	return out
}

func (t *task) householdStands(name string) bool {
	settled := map[string]bool{}
	for _, f := range t.settled {
		settled[f.code] = true
	}
	return slices.ContainsFunc(t.board.in.Cases, func(c enrollment.Case) bool { return c.Request.Household == name && settled[c.Request.Code] })
}

// daysOutside is how many days a window would have to be longer to hold a day.
func daysOutside(window calendar.Span, day calendar.Date) int {
	switch {
	case day.Before(window.From):
		return window.From.Sub(day)
	case !day.Before(window.To):
		return day.Sub(window.To) + 1
	}
	return 0
}

// offer adds an offer for one arrival day: at the sites that all of the household accept, or at each of the others.
func (t *task) offer(out []allocation.Offer, household []int, kind, size int, arrival calendar.Date, accepted bool) []allocation.Offer {
	o := allocation.Offer{Kind: kind, Size: size, Groups: make([][]allocation.Group, len(household))}
	for site := range t.board.sites {
		if t.accepts(household, site) != accepted {
			continue
		}
		for i, dog := range household {
			c := &t.candidates[dog]
			one, against := t.board.rule(c.Case, site, arrival)
			if against.against() {
				break // the others of the household cannot come then either
			}
			o.Groups[i] = append(o.Groups[i], t.group(c, one))
		}
	}
	if len(o.Groups[0]) == 0 {
		return out
	}
	return append(out, o)
}

// accepts reports whether all of a household accept a site.
func (t *task) accepts(household []int, site int) bool {
	for _, dog := range household {
		if !slices.ContainsFunc(t.candidates[dog].Request.Sites, func(s enrollment.SiteChoice) bool { return t.board.siteAt[s.SiteID] == site }) {
			return false
		}
	}
	return true
}
