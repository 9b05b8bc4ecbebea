package planner

import (
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
)

// Pin is a person's word that a request comes to a site on a day. Drafts place it nowhere else; the policy's points for it see to it that
// it gives way to others only where there is no room. It is held against the hard rules like any placement: a pin that no rule allows
// is refused when it is made, and one that becomes impossible later makes its request wait, with that reason.
type Pin struct {
	RequestID ids.RequestID `db:"request_id"`
	SiteID    ids.SiteID    `db:"site_id"`
	Arrival   calendar.Date `db:"arrival"`
	// RunClass and TrainerID are empty for any that suits.
	RunClass  string        `db:"run_class"`
	TrainerID ids.TrainerID `db:"trainer_id"`
}

// PinRecord is a pin with who made it and who took it away. Drafts do not depend on these.
type PinRecord struct {
	ID uuid.UUID `db:"id"`
	Pin
	Note   string    `db:"note"`
	MadeAt time.Time `db:"made_at"`
	MadeBy string    `db:"made_by"`
	// EndedAt and EndedBy are absent while the pin is live.
	EndedAt *time.Time `db:"ended_at"`
	EndedBy string     `db:"ended_by"`
}

// hold is a pin as it bears on one request: its own, or one of a dog of its household, which says nothing of run and trainer.
type hold struct {
	pin Pin
	own bool
	// words begin a sentence: "it is pinned to HILL from 2027-03-08".
	words string
}

// holdOn finds the pin that bears on a case; nil when there is none.
func (b *board) holdOn(c enrollment.Case) *hold {
	if p, pinned := b.pins[c.Request.ID]; pinned {
		return &hold{pin: p, own: true, words: fmt.Sprintf("it is pinned to %s from %s", b.siteCode(p.SiteID), p.Arrival)}
	}
	if c.Request.Household == "" {
		return nil
	}
	for _, other := range b.in.Cases {
		if p, pinned := b.pins[other.Request.ID]; pinned && other.Request.Household == c.Request.Household {
			return &hold{pin: p, words: fmt.Sprintf("it comes with %s of its household, which is pinned to %s from %s", other.Request.Code, b.siteCode(p.SiteID), p.Arrival)}
		}
	}
	return nil
}

func (b *board) siteCode(id ids.SiteID) string {
	if at, known := b.siteAt[id]; known {
		return b.sites[at].site.Code
	}
	return "a site that is gone"
}

// held narrows the days and sites on which a case may arrive to those of the pin that bears on it.
func (b *board) held(c enrollment.Case, when arrivals) arrivals {
	h := b.holdOn(c)
	if h == nil || when.fault.against() {
		return when
	}
	day := calendar.Span{From: h.pin.Arrival, To: h.pin.Arrival.AddDays(1)}
	out := arrivals{days: day, onlySite: -1, held: h}
	site, known := b.siteAt[h.pin.SiteID]
	switch {
	case !known || !slices.ContainsFunc(c.Request.Sites, func(s enrollment.SiteChoice) bool { return s.SiteID == h.pin.SiteID }):
		out.fault = ruling{reason: "its owner does not accept that site", remedy: "ask the owner, and add the site to the request's sites"}
	case !b.in.Month.Span().Contains(h.pin.Arrival):
		out.fault = ruling{reason: "that day lies outside of " + b.in.Month.String(), remedy: "plan the month of that day"}
	case !when.days.Contains(h.pin.Arrival):
		out.fault = ruling{reason: "that day is none of its arrival days", remedy: "ask the owner, and change the request's days, or those of its household"}
	case when.onlySite >= 0 && when.onlySite != site:
		out.fault = ruling{reason: "its household stands at another site already", remedy: "pin it to that site"}
	default:
		out.onlySite = site
	}
	return out
}

// keepTo leaves a candidate those runs and trainers that agree with its own pin.
func (b *board) keepTo(c *candidate, h *hold) {
	if !h.own {
		return
	}
	choices := c.choices
	c.choices = nil
	for _, one := range choices {
		against := b.keepRuns(c.Case, &one, h.pin.RunClass)
		if !against.against() {
			against = b.keepTrainer(&one, h.pin.TrainerID)
		}
		if against.against() {
			c.refuse(b.sites[one.site].site.Code, calendar.Span{From: h.pin.Arrival, To: h.pin.Arrival.AddDays(1)}, against)
			continue
		}
		c.choices = append(c.choices, one)
	}
}

// keepRuns leaves the runs of a class.
func (b *board) keepRuns(c enrollment.Case, one *choice, class string) ruling {
	if class == "" {
		return ruling{}
	}
	s := &b.sites[one.site]
	some, fits, why := false, false, ""
	for _, g := range s.groups {
		if string(g.class) != class {
			continue
		}
		some = true
		ok, reason := facility.FitsDog(g.runs[0].Size(), facility.DogSize{LengthMM: c.Dog.LengthMM, HeightMM: c.Dog.HeightMM}, s.site.FloorRule())
		if fits = fits || ok; !ok {
			why = reason
		}
	}
	one.groups = slices.DeleteFunc(slices.Clone(one.groups), func(g int) bool { return string(s.groups[g].class) != class })
	switch {
	case len(one.groups) > 0:
		return ruling{}
	case !some:
		return ruling{reason: fmt.Sprintf("%s has no run of class %s", s.site.Code, class), remedy: "another class of run"}
	case !fits:
		return ruling{reason: fmt.Sprintf("no run of class %s at %s is large enough: %s", class, s.site.Code, why), remedy: "another class of run"}
	}
	return ruling{reason: fmt.Sprintf("every run of class %s at %s that is large enough is promised or closed on some night of the stay, or takes nobody in", class, s.site.Code),
		remedy: "another class of run, or another arrival day"}
}

// keepTrainer leaves one trainer.
func (b *board) keepTrainer(one *choice, id ids.TrainerID) ruling {
	if id.IsZero() {
		return ruling{}
	}
	at := slices.IndexFunc(b.trainers, func(t trainerBoard) bool { return t.site == one.site && t.trainer.ID == id })
	site := b.sites[one.site].site.Code
	if at < 0 {
		return ruling{reason: "that trainer does not work at " + site + " in these weeks", remedy: "another trainer"}
	}
	if slices.Contains(one.trainers, at) {
		one.trainers = []int{at}
		return ruling{}
	}
	t := &b.trainers[at]
	if ok, lacking := Suits(t.trainer, one.need); !ok {
		return ruling{reason: fmt.Sprintf("trainer %s may not work with the dog, for lack of %s", t.trainer.Code, lacking), remedy: "another trainer"}
	}
	if !t.works[one.leaves] || !t.worksEnough(one.arrival, one.leaves) {
		return ruling{reason: fmt.Sprintf("trainer %s does not work at %s on the graduation day, or on fewer than %d percent of the days", t.trainer.Code, site, leastOwnDaysPercent),
			remedy: "another trainer, or another arrival day"}
	}
	return ruling{reason: fmt.Sprintf("trainer %s has not %d minutes left on every working day of the stay", t.trainer.Code, one.need.Minutes), remedy: "another trainer, or another arrival day"}
}

// anyHeld reports whether a pin bears on any of these dogs.
func (t *task) anyHeld(dogs []int) bool {
	return slices.ContainsFunc(dogs, func(dog int) bool { return t.candidates[dog].held != nil })
}
