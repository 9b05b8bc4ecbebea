package planner

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// Limits of how many days after the promised graduation day are looked at.
const (
	defaultMendDays = 14
	mostMendDays    = 60
)

// Extension is one later graduation day with all that it costs.
type Extension struct {
	Graduation  calendar.Date
	AddedNights int
	Moves       []RunMove
	Over        []OverMinutes
	// Places is the handover places of the day, Handovers how many are promised with this one.
	Places, Handovers int
	Notes             []string
	Fingerprint       string `json:"-"`
}

// OverMinutes is minutes of a day beyond what promises leave: of a trainer, or of all the site's trainers together where Trainer is empty.
type OverMinutes struct {
	Day     calendar.Date
	Trainer string
	Minutes int
}

// overTotal adds up the minutes.
func (e Extension) overTotal() (n int) {
	for _, o := range e.Over {
		n += o.Minutes
	}
	return n
}

// noticed counts the stays of other owners who would notice something.
func (e Extension) noticed() (n int) {
	for _, m := range e.Moves {
		if m.OwnerSees != "" {
			n++
		}
	}
	return n
}

// Extensions are the later graduation days of a stay: those that can be chosen, the best first, and why the others cannot.
type Extensions struct {
	m       *mending
	Choices []Extension
	Refused []Refusal
}

// tryDay adds one graduation day to those that can be chosen or to the others.
func (x *Extensions) tryDay(to calendar.Date, refused *candidate) error {
	e, against, err := x.m.extension(to)
	switch {
	case err != nil:
		return err
	case against.against():
		refused.refuse(x.m.in.Sites[0].Code, calendar.Span{From: to, To: to.AddDays(1)}, against)
	default:
		x.Choices = append(x.Choices, e)
	}
	x.Refused = refused.refusals
	return nil
}

// extensionTo tries one day.
func (m *mending) extensionTo(to calendar.Date) (Extensions, error) {
	out := Extensions{m: m}
	if err := m.isLater(to); err != nil {
		return out, err
	}
	return out, out.tryDay(to, &candidate{})
}

// extensions tries each day after the promised graduation day, so many of them, and none before today.
func (m *mending) extensions(days int) (Extensions, error) {
	out, refused := Extensions{m: m}, candidate{}
	for day := range (calendar.Span{From: m.stay.Nights.To.AddDays(1), To: m.stay.Nights.To.AddDays(days + 1)}).Dates() {
		if err := out.tryDay(day, &refused); err != nil {
			return out, err
		}
	}
	slices.SortStableFunc(out.Choices, func(a, b Extension) int {
		return cmp.Or(cmp.Compare(a.noticed(), b.noticed()), cmp.Compare(len(a.Moves), len(b.Moves)),
			cmp.Compare(max(0, a.Handovers-a.Places), max(0, b.Handovers-b.Places)), a.Graduation.Compare(b.Graduation))
	})
	return out, nil
}

// extension works out what one later graduation day costs, or why it cannot be.
func (m *mending) extension(to calendar.Date) (Extension, ruling, error) {
	if against := m.ruleOnExtension(to); against.against() {
		return Extension{}, against, nil
	}
	moves, against := m.housingFor(to)
	if against.against() {
		return Extension{}, against, nil
	}
	first, leaves := m.b.day(m.stay.Nights.To), m.b.day(to)
	e := Extension{Graduation: to, AddedNights: leaves - first, Moves: moves, Over: m.overMinutes(first, leaves), Places: m.b.sites[0].handover[leaves], Handovers: 1}
	for _, f := range m.b.fixed {
		if f.leaves == leaves {
			e.Handovers++
		}
	}
	e.Notes = m.extensionNotes(e)
	var err error
	e.Fingerprint, err = m.fingerprint(e)
	return e, ruling{}, err
}

// ruleOnExtension holds the added days against the hard rules of a month plan. Intake places are left out, as the dog is in already, and
// so is whether the trainer has minutes left: that is a cost which a person may take.
func (m *mending) ruleOnExtension(to calendar.Date) ruling {
	added, leaves := calendar.Span{From: m.stay.Nights.To, To: to}, m.b.day(to)
	if to.Before(m.today) {
		return ruling{reason: "the day is past", remedy: "a graduation day from today on"}
	}
	for _, rule := range []func() ruling{
		func() ruling { return ruleOnDog(m.c, added) },
		func() ruling { return m.b.ruleOnVaccines(m.c, 0, added) },
		func() ruling { return m.ruleOnHandover(leaves) },
		func() ruling { return m.ruleOnOwnTrainer(leaves) },
	} {
		if against := rule(); against.against() {
			return against
		}
	}
	return ruling{}
}

// ruleOnHandover refuses a day without handover places. One whose places are all promised is not refused: it is a cost.
func (m *mending) ruleOnHandover(leaves int) ruling {
	s := &m.b.sites[0]
	against := m.b.ruleOnPlace(leaves, s.handover, s.handoverLeft, s.note, "handover")
	if s.handover[leaves] > 0 {
		return ruling{}
	}
	against.remedy = "another graduation day"
	return against
}

// ruleOnOwnTrainer: the dog's trainer may still work with it, is there on the graduation day and on most days of the whole stay, and has
// no more dogs in hand on the added days than may be.
func (m *mending) ruleOnOwnTrainer(leaves int) ruling {
	t, code := m.ownTrainer(), m.trainerCode()
	away := ruling{reason: fmt.Sprintf("its trainer %s does not work at %s on the graduation day", code, m.in.Sites[0].Code), remedy: "another graduation day"}
	if t == nil {
		return away
	}
	if ok, lacking := Suits(t.trainer, m.need); !ok {
		return ruling{reason: fmt.Sprintf("its trainer %s may not work with it any more: %s is lacking", code, lacking), remedy: "another trainer, by a new plan of the month"}
	}
	if !t.works[leaves] {
		return away
	}
	if !t.worksEnough(m.b.day(m.stay.Nights.From), leaves) {
		return ruling{reason: fmt.Sprintf("its trainer %s would work on less than %d percent of the days of the stay", code, leastOwnDaysPercent), remedy: "another graduation day"}
	}
	for day := m.b.day(m.stay.Nights.To); day < leaves; day++ {
		if t.works[day] && t.dogsLeft[day] < 1 {
			return ruling{reason: fmt.Sprintf("its trainer %s has as many dogs in hand on %s as may be", code, m.b.date(day)),
				remedy: "an earlier graduation day, or another trainer for one of the dogs"}
		}
	}
	return ruling{}
}

// housingFor finds runs so that the dog can stay until a later day: it keeps its run, and stays that are still to come give way. One that
// has not arrived itself may get another run. Moves that no owner notices come first, then the fewest.
func (m *mending) housingFor(to calendar.Date) ([]RunMove, ruling) {
	own := m.fixedOwn(to)
	// What could not be until an earlier day cannot be until a later one, as it needs all of the same nights.
	if !m.noHousing.IsZero() && !to.Before(m.noHousing) {
		return nil, m.housingWords(own)
	}
	h := m.newHousing()
	x := h.add(own)
	for _, h.smaller = range []bool{false, true} {
		for budget := 0; budget <= mostRunMoves; budget++ {
			if h.stayOn(x, budget) {
				return h.moves(), ruling{}
			}
		}
	}
	m.noHousing = to
	return nil, m.housingWords(own)
}

// fixedOwn is the stay in question as it would be.
func (m *mending) fixedOwn(to calendar.Date) fixedStay {
	stay := m.stay
	stay.Nights.To = to
	return fixedStay{stay: stay, code: m.c.Request.Code, need: m.need.Minutes, cover: m.need.CoverMinutes, first: m.b.day(stay.Nights.From), leaves: m.b.day(to)}
}

// stayOn keeps a stay in its run for the nights that are added, or gives one that is still to come another run.
func (h *housing) stayOn(x, budget int) bool {
	r := &h.rooms[x]
	if r.first >= 0 {
		// Nights that were promised before are the dog's already: only those that are added are asked for.
		bound := r.bound
		r.asked, r.bound = h.m.b.day(h.m.stay.Nights.To), true
		if _, end := h.m.b.holdsRun(r.f); !h.closed(h.runs[r.first], r.asked, end) {
			if _, ok := h.put(x, r.first, budget); ok {
				return true
			}
		}
		r.asked, r.bound = r.f.first, bound
	}
	if r.bound || budget == 0 {
		return false
	}
	_, ok := h.rehouse(x, budget-1)
	return ok
}

// housingWords says what stands in the way.
func (m *mending) housingWords(own fixedStay) ruling {
	h := m.newHousing()
	x := h.add(own)
	run := m.runCode(m.stay.RunID)
	if h.rooms[x].first < 0 {
		return ruling{reason: "its run " + run + " is none that plans use", remedy: "correct the stay by an import first"}
	}
	h.rooms[x].asked = m.b.day(m.stay.Nights.To)
	if _, end := m.b.holdsRun(h.rooms[x].f); h.closed(h.runs[h.rooms[x].first], h.rooms[x].asked, end) {
		return ruling{reason: fmt.Sprintf("its run %s is closed on one of the added nights, or of the clean-down after them", run), remedy: "reopen the run, or an earlier graduation day"}
	}
	var others []string
	for _, y := range h.blockers(x) {
		others = append(others, fmt.Sprintf("%s from %s", h.rooms[y].f.code, h.rooms[y].f.stay.Nights.From))
	}
	return ruling{reason: fmt.Sprintf("its run %s is promised to %s, and moving up to %s finds no other run that fits", run, strings.Join(others, " and "), counted(mostRunMoves, "stay")),
		remedy: "an earlier graduation day, or another arrival day for a stay that is in the way: draft the month again"}
}

// overMinutes lists where the days from first up to end take more minutes than promises leave.
func (m *mending) overMinutes(first, end int) (out []OverMinutes) {
	t, s := m.ownTrainer(), &m.b.sites[0]
	for day := first; day < end; day++ {
		over := OverMinutes{Day: m.b.date(day)}
		if t == nil || !t.works[day] {
			over.Minutes = m.need.CoverMinutes - s.minutesLeft[day]
		} else {
			over.Minutes = m.need.Minutes - min(t.minutesLeft[day], s.minutesLeft[day])
			if t.minutesLeft[day] <= s.minutesLeft[day] {
				over.Trainer = t.trainer.Code
			}
		}
		if over.Minutes > 0 {
			out = append(out, over)
		}
	}
	return out
}

// extensionNotes says what else to know and to do.
func (m *mending) extensionNotes(e Extension) []string {
	notes := []string{fmt.Sprintf("Agree the new handover with the owner: it moves from %s to %s.", m.stay.Nights.To, e.Graduation)}
	if e.Handovers > e.Places {
		notes = append(notes, fmt.Sprintf("%d handovers on a day with places for %d: somebody must have the time.", e.Handovers, e.Places))
	}
	if len(e.Over) > 0 {
		notes = append(notes, "Minutes beyond what there are: law and agreements on working time go before this.")
	}
	for _, s := range m.in.Stays {
		c := m.cases[s.RequestID]
		if s.ID != m.stay.ID && m.c.Request.Household != "" && c.Request.Household == m.c.Request.Household && s.State != StayGoneHome {
			notes = append(notes, fmt.Sprintf("%s of the same household goes home on %s.", c.Dog.Code, s.Nights.To))
		}
	}
	if m.stay.State == StayPublished {
		notes = append(notes, "The stay was not confirmed; extended it counts as confirmed, so that no later draft shortens it.")
	}
	return notes
}

// extendStay keeps a dog until a later day in the caller's transaction, as it was previewed, or refuses and changes nothing.
func extendStay(ctx context.Context, tx postgres.Tx, who author, code string, to calendar.Date, fingerprint, reason string) (*mending, Extension, error) {
	// Two changes at once wait for each other here, so the second sees what the first did.
	if err := holdPublishing(ctx, tx); err != nil {
		return nil, Extension{}, err
	}
	m, err := readMending(ctx, tx, code, who.at)
	if err != nil {
		return nil, Extension{}, err
	}
	e, err := m.chosen(to)
	if err != nil {
		return nil, Extension{}, err
	}
	if e.Fingerprint != fingerprint {
		return nil, Extension{}, errChanged()
	}
	after := m.stay
	after.ID, after.Nights.To = ids.StayID(who.mint()), to
	if after.State == StayPublished {
		after.State = StayConfirmed
	}
	why := fmt.Sprintf("%s stays until %s: %s", m.c.Dog.Code, to, reason)
	swaps := swapsOf(e.Moves, who)
	if at := slices.IndexFunc(swaps, func(s swap) bool { return s.from.ID == m.stay.ID }); at >= 0 {
		after.RunID = swaps[at].to.RunID
		swaps = slices.Delete(swaps, at, at+1)
	}
	swaps = append(swaps, swap{from: m.stay, to: after})
	m.stay = after
	return m, e, replaceStays(ctx, tx, who, swaps, why)
}

// chosen is the extension to one day, or an error that says why it cannot be.
func (m *mending) chosen(to calendar.Date) (Extension, error) {
	if err := m.isLater(to); err != nil {
		return Extension{}, err
	}
	e, against, err := m.extension(to)
	if err == nil && against.against() {
		err = apperr.Preconditionf("DAY_REFUSED", "%s cannot stay until %s: %s. What would help: %s", m.c.Dog.Code, to, against.reason, against.remedy)
	}
	return e, err
}

// isLater refuses a day that is no later graduation day, or lies too far off.
func (m *mending) isLater(to calendar.Date) error {
	if !to.After(m.stay.Nights.To) || to.After(m.stay.Nights.To.AddDays(mostMendDays)) {
		return apperr.Preconditionf("NOT_LATER", "%s is promised until %s, and %s is not within the %d days after it: nothing was changed",
			m.c.Dog.Code, m.stay.Nights.To, to, mostMendDays)
	}
	return nil
}

// swapsOf turns moves into stays that take the place of others.
func swapsOf(moves []RunMove, who author) (swaps []swap) {
	for _, move := range moves {
		after := move.stay
		after.ID, after.RunID = ids.StayID(who.mint()), move.To
		swaps = append(swaps, swap{from: move.stay, to: after})
	}
	return swaps
}
