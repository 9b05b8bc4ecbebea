package planner

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/ids"
)

// A preview builds the problem of a stored plan a second time, with a pin or another wish, and solves that, starting from the plan.
// Neither changes what there is or who else asks, so both problems have the same sites, runs, trainers and dogs by the same numbers; only
// the choices of one household differ.

// wish is what an owner would allow instead; what is empty stays as it is.
type wish struct {
	window calendar.Span
	sites  []ids.SiteID
}

// previewed is what a preview found.
type previewed struct {
	before, after        int64
	gainLeast, gainMost  int64
	placed               *standing
	reason               string
	displaced, moved, in []string
	shifts               []shift
	smallest             *smallestStep
}

type smallestStep struct {
	points           int64
	displaced, moved []string
}

// standing is where a plan places a request, as far as people care: which run of its class is not among it.
type standing struct {
	site                string
	arrival, graduation calendar.Date
	class, trainer      string
}

type shift struct {
	code, dog     string
	before, after *standing
}

// preview is a month with a change: the problem with it, and the plan that was made without.
type preview struct {
	plan *Plan
	was  *opened
	task *task
	dog  int
	pin  bool
}

// withPin are the inputs with one more pin.
func (in Inputs) withPin(p Pin) Inputs {
	in.Pins = append(slices.Clone(in.Pins), p)
	slices.SortFunc(in.Pins, func(a, b Pin) int { return a.RequestID.Compare(b.RequestID) })
	return in
}

// withWish are the inputs with another wish. It is refused for a request of a household whose days other months decide as well.
func (in Inputs) withWish(request ids.RequestID, w wish) (Inputs, error) {
	in.Cases = slices.Clone(in.Cases)
	at := slices.IndexFunc(in.Cases, func(c enrollment.Case) bool { return c.Request.ID == request })
	c := &in.Cases[at]
	if len(w.sites) > 0 {
		var sites []enrollment.SiteChoice
		for _, id := range w.sites {
			one := enrollment.SiteChoice{SiteID: id}
			for _, known := range c.Request.Sites {
				if known.SiteID == id {
					one = known
				}
			}
			sites = append(sites, one)
		}
		c.Request.Sites = sites
	}
	if w.window.IsEmpty() {
		return in, nil
	}
	together, whole := in.together(c.Request)
	if !whole || together != c.Together {
		return in, apperr.Preconditionf("HOUSEHOLD_BEYOND_MONTH", "request %s comes with a dog whose arrival days lie outside of %s: what other days would do depends on more than this plan", c.Request.Code, in.Month)
	}
	c.Request.Window = w.window
	if !w.window.Contains(c.Request.Wished) {
		c.Request.Wished = calendar.Date{}
	}
	together, _ = in.together(c.Request)
	for i := range in.Cases {
		if sameHousehold(in.Cases[i].Request, c.Request) {
			in.Cases[i].Together = together
		}
	}
	return in, nil
}

// together are the arrival days that suit all of a request's household that is among the cases; false when there are none.
func (in Inputs) together(r enrollment.Request) (days calendar.Span, some bool) {
	days, some = r.Window, true
	for _, c := range in.Cases {
		if some && sameHousehold(c.Request, r) {
			days, some = days.Intersect(c.Request.Window)
		}
	}
	return days, some
}

func sameHousehold(a, b enrollment.Request) bool {
	return a.ID == b.ID || a.Household != "" && a.Household == b.Household
}

// newPreview builds the month with a change. A pin that no rule allows is refused with the rule's words.
func newPreview(plan *Plan, was *opened, in Inputs, request ids.RequestID, pin bool) (*preview, error) {
	t, err := buildTask(in)
	if err != nil {
		return nil, err
	}
	p := &preview{plan: plan, was: was, task: t, pin: pin}
	p.dog = slices.IndexFunc(t.candidates, func(c candidate) bool { return c.Request.ID == request })
	if p.dog < 0 {
		return nil, apperr.Preconditionf("STANDS_ALREADY", "the request has a stay that drafts do not touch: it is confirmed, or began already")
	}
	if !pin {
		return p, nil
	}
	return p, p.mayPin()
}

// mayPin refuses a pin that no rule allows, for the request or for those that come with it.
func (p *preview) mayPin() error {
	t := p.task
	own := &t.candidates[p.dog]
	for _, dog := range t.householdOf(p.dog) {
		c := &t.candidates[dog]
		reason, remedy := "", ""
		switch {
		case len(c.choices) == 0 && dog == p.dog:
			reason, remedy = t.refusalWords(c)
		case len(c.choices) == 0:
			reason, remedy = t.refusalWords(c)
			reason = fmt.Sprintf("%s of its household comes with it, and for that one %s", c.Request.Code, reason)
		case c.held.pin.SiteID != own.held.pin.SiteID || c.held.pin.Arrival != own.held.pin.Arrival:
			reason = fmt.Sprintf("%s of its household comes with it, and is pinned to %s from %s", c.Request.Code, t.board.siteCode(c.held.pin.SiteID), c.held.pin.Arrival)
			remedy = "take that pin away first, or pin it there"
		default:
			continue
		}
		return apperr.Preconditionf("PIN_AGAINST_RULES", "request %s cannot be pinned there: %s. What would help: %s", own.Request.Code, reason, remedy)
	}
	return nil
}

// householdOf lists a dog with those that come with it.
func (t *task) householdOf(dog int) []int {
	for _, dogs := range t.problem.Together {
		if slices.Contains(dogs, dog) {
			return dogs
		}
	}
	return []int{dog}
}

// solve finds a plan with the change and says how it differs from the plan without.
func (p *preview) solve(ctx context.Context, limit time.Duration) (*previewed, error) {
	out := &previewed{before: p.was.solution.Value}
	start, err := p.start(out)
	if err != nil {
		return nil, err
	}
	options := solveFor(ctx, p.plan, limit)
	options.Warm = start
	found, err := allocation.Solve(&p.task.problem, options)
	if err != nil {
		return nil, err
	}
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	p.compare(out, found.Placements)
	bonus := p.bonus(found.Placements)
	out.after = found.Value - bonus
	out.gainLeast, out.gainMost = out.after-p.was.solution.Bound, found.Bound-bonus-max(out.before, p.known(out.after))
	if p.pin {
		out.gainLeast, out.gainMost = min(0, out.gainLeast), min(0, out.gainMost)
	}
	if out.placed == nil {
		out.reason = p.task.wait(p.plan.ID, p.dog, allocation.NewExplainer(&p.task.problem, found.Placements)).Reason
	}
	return out, nil
}

// known is what the plan found with the change proves about plans without: a pin only takes choices away, so it is one of them.
func (p *preview) known(after int64) int64 {
	if p.pin {
		return after
	}
	return p.was.solution.Value
}

// bonus is what the policy gives a plan for the pin itself.
func (p *preview) bonus(plan []allocation.Placement) int64 {
	if p.pin && slices.ContainsFunc(plan, func(pl allocation.Placement) bool { return pl.Dog == p.dog }) {
		return int64(p.task.board.in.Policy[TermPinned])
	}
	return 0
}

// start is a plan with the change to begin from: the plan as it is where that is still open to the household, else one in which only those
// in its way give way. That one is the smallest step, which is told.
func (p *preview) start(out *previewed) ([]allocation.Placement, error) {
	household := p.task.householdOf(p.dog)
	var others, own []allocation.Placement
	for _, pl := range p.was.solution.Placements {
		if slices.Contains(household, pl.Dog) {
			own = append(own, pl)
		} else {
			others = append(others, pl)
		}
	}
	stays := !slices.ContainsFunc(own, func(pl allocation.Placement) bool { return !p.task.open(pl) })
	if stays && (len(own) > 0 || !p.pin) {
		if p.pin {
			out.smallest = &smallestStep{}
		}
		return p.was.solution.Placements, nil
	}
	w, err := allocation.NewWeigher(&p.task.problem, others)
	if err != nil {
		return nil, err
	}
	d, err := w.Displace(p.dog)
	if err != nil || d == nil {
		return others, err
	}
	value, err := allocation.Check(&p.task.problem, d.Plan)
	if err != nil {
		return nil, fmt.Errorf("the smallest step breaks a rule: %w", err)
	}
	if p.pin {
		out.smallest = &smallestStep{points: p.was.solution.Value - value + p.bonus(d.Plan), displaced: p.codes(d.Gone), moved: p.codes(d.Moved)}
	}
	return d.Plan, nil
}

// open reports whether a placement is among its dog's choices.
func (t *task) open(pl allocation.Placement) bool {
	for _, g := range t.problem.Dogs[pl.Dog].Placements {
		if g.Site == pl.Site && g.Arrival == pl.Arrival {
			return slices.ContainsFunc(g.Runs, func(r allocation.RunOption) bool { return r.Class == pl.Run }) &&
				slices.ContainsFunc(g.Trainers, func(tr allocation.TrainerOption) bool { return tr.Trainer == pl.Trainer })
		}
	}
	return false
}

func (p *preview) codes(dogs []int) []string {
	var out []string
	for _, dog := range dogs {
		out = append(out, p.task.candidates[dog].Request.Code)
	}
	slices.Sort(out)
	return out
}

// standing says where a placement is.
func (p *preview) standing(pl allocation.Placement) standing {
	b := p.task.board
	s, c := &b.sites[pl.Site], &p.task.candidates[pl.Dog]
	stay := c.Stay(b.date(pl.Arrival))
	return standing{site: s.site.Code, arrival: stay.From, graduation: stay.To, class: string(s.groups[pl.Run].class), trainer: b.trainers[pl.Trainer].trainer.Code}
}

// compare says how a plan differs from the one without the change.
func (p *preview) compare(out *previewed, after []allocation.Placement) {
	was, is := byDog(p.was.solution.Placements), byDog(after)
	for dog := range p.task.candidates {
		c := &p.task.candidates[dog]
		s := shift{code: c.Request.Code, dog: c.Dog.Name}
		if pl, in := was[dog]; in {
			at := p.standing(pl)
			s.before = &at
		}
		if pl, in := is[dog]; in {
			at := p.standing(pl)
			s.after = &at
		}
		if dog == p.dog {
			out.placed = s.after
		}
		own := dog == p.dog
		switch {
		case s.before == nil && s.after == nil, s.before != nil && s.after != nil && *s.before == *s.after:
			continue
		case own:
		case s.after == nil:
			out.displaced = append(out.displaced, s.code)
		case s.before == nil:
			out.in = append(out.in, s.code)
		default:
			out.moved = append(out.moved, s.code)
		}
		out.shifts = append(out.shifts, s)
	}
	slices.Sort(out.displaced)
	slices.Sort(out.moved)
	slices.Sort(out.in)
	slices.SortFunc(out.shifts, func(a, b shift) int { return compareText(a.code, b.code) })
}

// pinPrint is the fingerprint of a pin and of everything that its preview was worked out from.
func pinPrint(inputs string, p Pin) (string, error) {
	text, err := json.Marshal(struct {
		Inputs string
		Pin    Pin
	}{inputs, p})
	if err != nil {
		return "", fmt.Errorf("fingerprint a pin: %w", err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8]), nil
}
