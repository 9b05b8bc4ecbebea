package planner

import (
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/roster"
)

// board is the inputs laid out by day: what each site and trainer has on each day of the horizon, and what earlier promises
// leave of it. Days are counted from 0, the first of the month.
type board struct {
	in       Inputs
	days     int
	sites    []siteBoard
	trainers []trainerBoard
	siteAt   map[ids.SiteID]int
	// fixed are the stays that this plan must not touch; movable are promises of this month that it may move, by request.
	fixed    []fixedStay
	movable  map[ids.RequestID]Stay
	pins     map[ids.RequestID]Pin
	cautions []string
}

type siteBoard struct {
	site   facility.Site
	rules  []enrollment.VaccineRule
	groups []runGroup
	// intake and handover are all places, intakeLeft and handoverLeft those that promises leave.
	intake, handover         []int
	intakeLeft, handoverLeft []int
	minutes, minutesLeft     []int
	note                     []string
}

// runGroup is runs of one size that are free on the same days, so that any of them will do and their number on a night is
// all that matters. See groupRuns for why this is exact.
type runGroup struct {
	runs     []facility.Run
	class    facility.Class
	capacity []int
	// held marks the days on which an intake hold keeps arrivals out; nil for none.
	held []bool
	// freeFrom is the first free night of each run; before it a promise or a closure holds the run.
	freeFrom []int
}

// trainerBoard is a trainer at one site; one who is lent has an entry at each site.
type trainerBoard struct {
	trainer               roster.Trainer
	site                  int
	works                 []bool
	minutes, dogs         []int
	minutesLeft, dogsLeft []int
	quartersHeld          []int // by promises that stand, in the count of long days
	loadPercent           int
}

type fixedStay struct {
	stay   Stay
	code   string
	need   int
	cover  int
	site   int
	first  int // day of arrival, may be negative
	leaves int // graduation day
}

// newBoard lays the inputs out. What cannot be right, such as promises beyond what there is, becomes a caution.
func newBoard(in Inputs) (*board, error) {
	b := &board{in: in, days: in.Horizon.Nights(), siteAt: map[ids.SiteID]int{}, movable: map[ids.RequestID]Stay{}, pins: map[ids.RequestID]Pin{}}
	for _, p := range in.Pins {
		b.pins[p.RequestID] = p
	}
	for i, site := range in.Sites {
		b.siteAt[site.ID] = i
		s, err := b.newSite(site)
		if err != nil {
			return nil, err
		}
		b.sites = append(b.sites, s)
	}
	b.addTrainers()
	if err := b.splitStays(); err != nil {
		return nil, err
	}
	for i := range b.sites {
		b.sites[i].groups = b.groupRuns(i)
	}
	for _, f := range b.fixed {
		b.take(f)
	}
	b.finish()
	return b, nil
}

func (b *board) day(d calendar.Date) int { return d.Sub(b.in.Horizon.From) }

func (b *board) date(day int) calendar.Date { return b.in.Horizon.From.AddDays(day) }

func (b *board) newSite(site facility.Site) (siteBoard, error) {
	rules, err := enrollment.VaccineRules(site.RequiredVaccines, site.RabiesWaitingDays)
	if err != nil {
		return siteBoard{}, fmt.Errorf("vaccine rules of site %s: %w", site.Code, err)
	}
	s := siteBoard{site: site, rules: rules,
		intake: make([]int, b.days), handover: make([]int, b.days), minutes: make([]int, b.days), note: make([]string, b.days)}
	for _, p := range b.in.Places[site.ID] {
		day := b.day(p.Day)
		s.intake[day], s.handover[day], s.note[day] = p.Intake, p.Handover, p.Note
	}
	for _, h := range b.in.Holds {
		for day := range s.intake {
			if h.SiteID == site.ID && h.Row == "" && h.Days.Contains(b.date(day)) {
				s.intake[day], s.note[day] = 0, "intake hold until "+h.Days.To.String()+", because a dog is ill"
			}
		}
	}
	s.intakeLeft, s.handoverLeft = slices.Clone(s.intake), slices.Clone(s.handover)
	return s, nil
}

func (b *board) addTrainers() {
	type key struct {
		trainer ids.TrainerID
		site    ids.SiteID
	}
	byID := map[ids.TrainerID]roster.Trainer{}
	for _, t := range b.in.Trainers {
		byID[t.ID] = t
	}
	entry := map[key]int{}
	for _, d := range b.in.TrainerDays {
		k := key{d.TrainerID, d.SiteID}
		i, ok := entry[k]
		if !ok {
			i = len(b.trainers)
			entry[k] = i
			b.trainers = append(b.trainers, trainerBoard{trainer: byID[d.TrainerID], site: b.siteAt[d.SiteID],
				works: make([]bool, b.days), minutes: make([]int, b.days), dogs: make([]int, b.days), quartersHeld: make([]int, b.days)})
		}
		day := b.day(d.Day)
		t := &b.trainers[i]
		t.works[day], t.minutes[day], t.dogs[day] = true, d.Minutes, d.Dogs
		b.sites[t.site].minutes[day] += d.Minutes
	}
	for i := range b.trainers {
		b.trainers[i].minutesLeft = slices.Clone(b.trainers[i].minutes)
		b.trainers[i].dogsLeft = slices.Clone(b.trainers[i].dogs)
	}
	for i := range b.sites {
		b.sites[i].minutesLeft = slices.Clone(b.sites[i].minutes)
	}
}

// splitStays tells the promises that this plan may move from those that stand. A published stay may move while its owner has
// not confirmed it and its request belongs to this month; all others are fixed.
func (b *board) splitStays() error {
	open := map[ids.RequestID]bool{}
	for _, c := range b.in.Cases {
		open[c.Request.ID] = true
	}
	cases := map[ids.RequestID]enrollment.Case{}
	for _, c := range b.in.StayCases {
		cases[c.Request.ID] = c
	}
	for _, s := range b.in.Stays {
		if s.State == StayPublished && open[s.RequestID] && b.in.Month.Span().Contains(s.Nights.From) {
			b.movable[s.RequestID] = s
			continue
		}
		c, ok := cases[s.RequestID]
		if !ok {
			return fmt.Errorf("stay %s: its request %s is not known", s.ID, s.RequestID)
		}
		need, err := c.Need(s.Nights.From)
		if err != nil {
			return err
		}
		b.fixed = append(b.fixed, fixedStay{stay: s, code: c.Request.Code, need: need.Minutes, cover: need.CoverMinutes,
			site: b.siteAt[s.SiteID], first: b.day(s.Nights.From), leaves: b.day(s.Nights.To)})
	}
	return nil
}

// groupRuns puts runs together that are alike for a plan. Runs of one size that are only taken from the start of the horizon
// up to some night (a dog in residence) are alike: whatever stays fit them by number on every night can be given runs, one
// after the other by arrival, because a run that is free once stays free. A run that is closed or promised in the middle is
// different: stays can end before and begin after, but not cross. Such runs share a group only with runs that are taken on
// exactly the same nights, which gives the same guarantee.
func (b *board) groupRuns(site int) []runGroup {
	taken := b.takenNights(site)
	groups := map[string]int{}
	var out []runGroup
	for _, run := range b.in.Runs {
		if run.Isolation || b.siteAt[run.SiteID] != site {
			continue
		}
		nights := taken[run.ID]
		from, prefix := freeAfterPrefix(nights)
		key := fmt.Sprintf("%d x %d x %d", run.LengthMM, run.WidthMM, run.HeightMM)
		if !prefix {
			key += " " + pattern(nights)
			from = 0
		}
		held := b.heldDays(run)
		if held != nil {
			key += " held " + pattern(held)
		}
		i, ok := groups[key]
		if !ok {
			i = len(out)
			groups[key] = i
			out = append(out, runGroup{class: run.Class(), capacity: make([]int, b.days), held: held})
		}
		g := &out[i]
		g.runs = append(g.runs, run)
		g.freeFrom = append(g.freeFrom, from)
		for night := range b.days {
			if !nights[night] {
				g.capacity[night]++
			}
		}
	}
	return out
}

// heldDays marks the days on which a hold of its row keeps arrivals out of a run; nil for none. Dogs that are in may stay, so it takes no
// night from the run.
func (b *board) heldDays(run facility.Run) (held []bool) {
	for _, h := range b.in.Holds {
		for day := range b.days {
			if h.Row != "" && h.covers(run, b.date(day)) {
				if held == nil {
					held = make([]bool, b.days)
				}
				held[day] = true
			}
		}
	}
	return held
}

// takenNights marks the nights on which a run can take no new dog: it is closed, promised, or cleaned down after a promise.
func (b *board) takenNights(site int) map[ids.RunID][]bool {
	taken := map[ids.RunID][]bool{}
	for _, run := range b.in.Runs {
		if b.siteAt[run.SiteID] != site {
			continue
		}
		nights := make([]bool, b.days)
		for night := range nights {
			nights[night] = run.ClosedOn(b.date(night))
		}
		taken[run.ID] = nights
	}
	for _, f := range b.fixed {
		nights, ok := taken[f.stay.RunID]
		if !ok {
			continue
		}
		from, end := b.holdsRun(f)
		for night := max(0, from); night < min(b.days, end); night++ {
			nights[night] = true
		}
	}
	return taken
}

// holdsRun returns the nights, from and up to end, on which nobody else can have the run of a stay: its own, and those of the clean-down.
func (b *board) holdsRun(f fixedStay) (from, end int) {
	return f.first, f.leaves + b.sites[f.site].site.CleanDownDays
}

// freeAfterPrefix returns the first free night when all taken nights come before it, else false.
func freeAfterPrefix(nights []bool) (int, bool) {
	from := 0
	for from < len(nights) && nights[from] {
		from++
	}
	return from, !slices.Contains(nights[from:], true)
}

func pattern(nights []bool) string {
	var text strings.Builder
	for _, taken := range nights {
		if taken {
			text.WriteByte('1')
		} else {
			text.WriteByte('0')
		}
	}
	return text.String()
}

// take uses the trainers' time and the places of a fixed stay; its run is out of the groups already.
func (b *board) take(f fixedStay) {
	s := &b.sites[f.site]
	if f.first >= 0 && f.first < b.days {
		s.intakeLeft[f.first]--
	}
	if f.leaves >= 0 && f.leaves < b.days {
		s.handoverLeft[f.leaves]--
	}
	entry := slices.IndexFunc(b.trainers, func(t trainerBoard) bool { return t.trainer.ID == f.stay.TrainerID && t.site == f.site })
	for day := max(0, f.first); day < min(b.days, f.leaves); day++ {
		if entry < 0 || !b.trainers[entry].works[day] {
			s.minutesLeft[day] -= f.cover
			continue
		}
		s.minutesLeft[day] -= f.need
		b.trainers[entry].minutesLeft[day] -= f.need
		b.trainers[entry].dogsLeft[day]--
		b.trainers[entry].quartersHeld[day] += quarters(f.need)
	}
}

// finish turns overdrawn days into cautions and works out how full each trainer is.
func (b *board) finish() {
	for i := range b.sites {
		s := &b.sites[i]
		b.warn(s.intakeLeft, s.site.Code+": promises need more intake places than there are")
		b.warn(s.handoverLeft, s.site.Code+": promises need more handover places than there are")
		b.warn(s.minutesLeft, s.site.Code+": promises need more trainer time than there is, cover included")
	}
	for i := range b.trainers {
		t := &b.trainers[i]
		all, left := 0, 0
		for day := range b.in.Month.Days() {
			all += t.minutes[day]
			left += t.minutesLeft[day]
		}
		if all > 0 {
			t.loadPercent = max(0, 100*(all-left)/all)
		}
		b.warn(t.minutesLeft, t.trainer.Code+": promises need more minutes than this trainer has")
		b.warn(t.dogsLeft, t.trainer.Code+": promises are more dogs than this trainer may have in hand")
	}
}

// warn adds one caution for the days on which less than nothing is left, and sets them to nothing.
func (b *board) warn(left []int, text string) {
	var days []string
	for day, n := range left {
		if n < 0 {
			days = append(days, b.date(day).String())
			left[day] = 0
		}
	}
	switch {
	case len(days) > 4:
		b.cautions = append(b.cautions, fmt.Sprintf("%s on %d days from %s to %s", text, len(days), days[0], days[len(days)-1]))
	case len(days) > 0:
		b.cautions = append(b.cautions, text+" on "+strings.Join(days, ", "))
	}
}
