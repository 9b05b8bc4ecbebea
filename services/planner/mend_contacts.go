package planner

import (
	"context"
	"fmt"
	"slices"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/training"
)

// Contact is a dog that was near one with signs of illness, with how.
type Contact struct {
	RequestID        ids.RequestID
	DogCode, DogName string
	RunCode          string
	Because          []string
	// Days are those on which it is watched. Leaves is its graduation day: its owner watches it from then on.
	Days   calendar.Span
	Leaves calendar.Date
}

// AreaUse is a dog that was planned to be in a training area on a day.
type AreaUse struct {
	DogID  ids.DogID     `db:"dog_id"`
	AreaID ids.AreaID    `db:"area_id"`
	Day    calendar.Date `db:"day"`
}

// Areas lists the dogs in the areas of a site on some days. The package that plans days provides it.
type Areas func(ctx context.Context, db postgres.DB, site ids.SiteID, days calendar.Span) ([]AreaUse, error)

// contacts lists the dogs that shared a row, a trainer, a session's trainer or an area with the dog in the days before its signs began:
// known agents are passed on before there are signs.
func (m *mending) contacts(ctx context.Context, db postgres.DB, ask isolationAsk, rules HealthRules) ([]Contact, error) {
	from, suspected := ask.from, ask.suspected
	window := calendar.Span{From: from.AddDays(-rules.lookBack(suspected)), To: from.AddDays(1)}
	if window.From.Before(m.stay.Nights.From) {
		window.From = m.stay.Nights.From
	}
	rows := map[ids.RunID]string{}
	codes := map[ids.RunID]string{}
	for _, r := range m.in.Runs {
		rows[r.ID], codes[r.ID] = rowOf(r), r.Code
	}
	worked, err := m.workedBy(ctx, db, window)
	if err != nil {
		return nil, err
	}
	if err := m.addSharedAreas(ctx, db, ask.areas, window, worked); err != nil {
		return nil, err
	}
	var out []Contact
	for _, s := range m.in.Stays {
		there := calendar.Span{From: s.Nights.From, To: s.Nights.To.AddDays(1)}
		if s.ID == m.stay.ID || !there.Overlaps(window) {
			continue
		}
		c := m.cases[s.RequestID]
		contact := Contact{RequestID: s.RequestID, DogCode: c.Dog.Code, DogName: c.Dog.Name, RunCode: codes[s.RunID],
			Days: rules.Watched(from, suspected), Leaves: s.Nights.To}
		if row := rows[s.RunID]; row != "" && row == rows[m.stay.RunID] {
			contact.Because = append(contact.Because, "row "+row)
		}
		if s.TrainerID == m.stay.TrainerID {
			contact.Because = append(contact.Because, "trainer "+m.trainerCode())
		}
		contact.Because = append(contact.Because, worked[c.Dog.ID]...)
		if len(contact.Because) > 0 {
			out = append(out, contact)
		}
	}
	slices.SortFunc(out, func(a, b Contact) int { return compareText(a.DogCode, b.DogCode) })
	return out, nil
}

// rowOf is the row of a run that is no isolation run: those stand apart.
func rowOf(r facility.Run) string {
	if r.Isolation {
		return ""
	}
	return r.Row
}

// workedBy says for each dog by which trainers, beyond that of the stay, it was worked who worked the ill dog as well, by what was logged.
func (m *mending) workedBy(ctx context.Context, db postgres.DB, window calendar.Span) (map[ids.DogID][]string, error) {
	dogs := []ids.DogID{m.c.Dog.ID}
	for _, s := range m.in.Stays {
		dogs = append(dogs, m.cases[s.RequestID].Dog.ID)
	}
	sessions, err := training.ListSessions(ctx, db, dogs, window)
	if err != nil {
		return nil, err
	}
	shared := map[ids.TrainerID]bool{}
	for _, s := range sessions {
		if s.DogID == m.c.Dog.ID && s.TrainerID != m.stay.TrainerID {
			shared[s.TrainerID] = true
		}
	}
	code := map[ids.TrainerID]string{}
	for _, t := range m.in.Trainers {
		code[t.ID] = t.Code
	}
	found := map[ids.DogID][]string{}
	for _, s := range sessions {
		if text := fmt.Sprintf("worked by %s", code[s.TrainerID]); shared[s.TrainerID] && s.DogID != m.c.Dog.ID && !slices.Contains(found[s.DogID], text) {
			found[s.DogID] = append(found[s.DogID], text)
		}
	}
	return found, nil
}

// addSharedAreas adds for each dog the areas in which it was on the same day as the ill one, by the plans of the days.
func (m *mending) addSharedAreas(ctx context.Context, db postgres.DB, list Areas, window calendar.Span, found map[ids.DogID][]string) error {
	if list == nil {
		return nil
	}
	uses, err := list(ctx, db, m.stay.SiteID, window)
	if err != nil {
		return err
	}
	areas, err := facility.ListAreas(ctx, db)
	if err != nil {
		return err
	}
	code := map[ids.AreaID]string{}
	for _, a := range areas {
		code[a.ID] = a.Code
	}
	type place struct {
		area ids.AreaID
		day  calendar.Date
	}
	ill := map[place]bool{}
	for _, u := range uses {
		if u.DogID == m.c.Dog.ID {
			ill[place{u.AreaID, u.Day}] = true
		}
	}
	for _, u := range uses {
		if text := "area " + code[u.AreaID]; ill[place{u.AreaID, u.Day}] && u.DogID != m.c.Dog.ID && !slices.Contains(found[u.DogID], text) {
			found[u.DogID] = append(found[u.DogID], text)
		}
	}
	return nil
}

// HeldArrival is a promised arrival that falls into an intake hold, with what could be done.
type HeldArrival struct {
	Request          string
	DogCode, DogName string
	Arrival          calendar.Date
	RunCode          string
	State            string
	// Other is another run outside of the hold for all of its nights; nil when there is none.
	Other *RunMove
	// Later are arrival days after the hold that keep the hard rules, the first few of the owner's window.
	Later []calendar.Date
}

// mostLaterArrivals is how many later arrival days are shown.
const mostLaterArrivals = 3

// heldArrivals lists the arrivals in a hold with their choices.
func (m *mending) heldArrivals(hold IntakeHold) (out []HeldArrival, err error) {
	in := m.in
	in.Holds = append(slices.Clone(in.Holds), hold)
	runs := map[ids.RunID]facility.Run{}
	for _, r := range m.in.Runs {
		runs[r.ID] = r
	}
	h := m.housingAll(in.Holds)
	for _, s := range m.in.Stays {
		if s.ID == m.stay.ID || m.arrived(s) || !hold.covers(runs[s.RunID], s.Nights.From) {
			continue
		}
		c := m.cases[s.RequestID]
		a := HeldArrival{Request: c.Request.Code, DogCode: c.Dog.Code, DogName: c.Dog.Name, Arrival: s.Nights.From, RunCode: runs[s.RunID].Code, State: s.State}
		if hold.Row != "" {
			a.Other = h.elsewhere(s)
		}
		if a.Later, err = m.laterArrivals(in, s, hold); err != nil {
			return nil, err
		}
		out = append(out, a)
	}
	slices.SortFunc(out, func(a, b HeldArrival) int {
		return firstOf(a.Arrival.Compare(b.Arrival), compareText(a.Request, b.Request))
	})
	return out, nil
}

// housingAll is the housing with the stay in question as it is, in which nobody is put where a hold keeps arrivals out.
func (m *mending) housingAll(holds []IntakeHold) *housing {
	h := m.newHousing()
	h.rooms[h.add(m.fixedOwn(m.stay.Nights.To))].bound = true
	h.banned = func(run facility.Run, s Stay) bool { return heldOn(holds, run, s.Nights.From) }
	return h
}

// heldOn reports whether the hold of a row keeps an arrival on a day out of a run. The hold of a whole site says nothing about runs.
func heldOn(holds []IntakeHold, run facility.Run, day calendar.Date) bool {
	return slices.ContainsFunc(holds, func(hold IntakeHold) bool { return hold.Row != "" && hold.covers(run, day) })
}

// elsewhere finds another run for a stay, with nobody else moved; nil when there is none.
func (h *housing) elsewhere(s Stay) *RunMove {
	x := slices.IndexFunc(h.rooms, func(r room) bool { return r.f.stay.ID == s.ID })
	for _, h.smaller = range []bool{false, true} {
		if _, ok := h.rehouse(x, 0); ok {
			move := h.moveOf(x)
			return &move
		}
	}
	return nil
}

// laterArrivals are the first days after a hold, within the owner's window, on which the stay could begin by the hard rules.
func (m *mending) laterArrivals(in Inputs, s Stay, hold IntakeHold) (days []calendar.Date, err error) {
	in.Stays = slices.DeleteFunc(slices.Clone(in.Stays), func(other Stay) bool { return other.ID == s.ID })
	b, err := newBoard(in)
	if err != nil {
		return nil, err
	}
	c := m.cases[s.RequestID]
	window, some := c.Request.Window.Intersect(calendar.Span{From: hold.Days.To, To: in.Horizon.To})
	if !some {
		return nil, nil
	}
	for day := range window.Dates() {
		if _, against := b.rule(c, 0, day); !against.against() {
			days = append(days, day)
		}
		if len(days) == mostLaterArrivals {
			break
		}
	}
	return days, nil
}
