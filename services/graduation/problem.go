package graduation

import (
	"slices"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/slots"
)

// Points and minutes. All of them are our own setting, with no source.
const (
	grid = 15
	// pause is what a trainer needs between two handovers, changeover what follows a session block.
	pause      = 15
	changeover = 5
	// pointsMissing is more than any time costs.
	pointsMissing = 10_000
	// pointsOther is what somebody else than the dog's own trainer costs, who alone has worked with it throughout.
	pointsOther = 300
	// pointsMoved and pointsChanged are what giving up an appointment costs that its owner has not confirmed.
	pointsMoved   = 1000
	pointsChanged = 400
	// pointsUnliked is what a possible time costs that is not the one that suits best, pointsEarly one for which the owner would leave home
	// before leavesAt or be back after homeBy.
	pointsUnliked = 20
	pointsEarly   = 60
	// pointsMorning is what a time before morningEnds costs: the dog's last session and its rest after the meal come before it.
	pointsMorning = 10
	morningEnds   = calendar.Clock(10*60 + 30)
	leavesAt      = calendar.Clock(7*60 + 30)
	homeBy        = calendar.Clock(20 * 60)
)

// areaPoints is what showing a dog in a kind of area costs, where the site has named none: indoors there is room for it whatever the weather.
var areaPoints = map[string]int{"hall": 0, "quiet room": 5, "yard": 10, "field": 20}

// dayTask is a day as slots takes it: visits are in the order of stays, trainers in that of shifts, areas in that of the inputs and gates in
// that of the site's settings.
type dayTask struct {
	in      *inputs
	day     calendar.Date
	start   time.Time
	minutes int
	stays   []planner.Stay
	shifts  []roster.TrainerDay
	p       slots.Problem
	// kept are the stays whose appointment stands: nothing is asked about them.
	kept []planner.Stay
	// ill are the stays of dogs that are isolated on the day and have no appointment: they get none.
	ill []planner.Stay
}

// buildDay lays a day out. With plans, what trainers do by the plan of the day is left alone; without, it is taken to make room.
func (in *inputs) buildDay(day calendar.Date, plans bool) (*dayTask, error) {
	start, end, err := calendar.DayBounds(day, in.zone)
	if err != nil {
		return nil, err
	}
	t := &dayTask{in: in, day: day, start: start, minutes: int(end.Sub(start).Minutes()), shifts: in.shifts[day]}
	t.p = slots.Problem{Step: grid, Minutes: t.minutes, Pause: pause, Days: []slots.Day{{Places: in.places[day], Open: slots.Span{From: t.at(in.setting.FirstStart), To: t.at(in.setting.LastEnd)}}}}
	for range in.setting.Gates {
		t.p.Gates = append(t.p.Gates, slots.Gate{Spacing: in.setting.GateMinutes, Passing: min(5, in.setting.GateMinutes)})
	}
	t.addTrainers(plans)
	t.addAreas()
	t.addVisits()
	t.addStanding()
	return t, nil
}

// at is the minute at which clocks show a time: the first one after the jump for a time that they skip.
func (t *dayTask) at(c calendar.Clock) int {
	when, err := jobs.Daily{At: c, Zone: t.in.zone}.On(t.day)
	if err != nil {
		return 0
	}
	return t.minute(when)
}

// minute is the minute of an instant, within the day.
func (t *dayTask) minute(when time.Time) int {
	return min(max(0, int(when.Sub(t.start).Minutes())), t.minutes)
}

func (t *dayTask) instant(minute int) time.Time {
	return t.start.Add(time.Duration(minute) * time.Minute)
}

func (t *dayTask) addTrainers(plans bool) {
	for _, s := range t.shifts {
		to := t.minutes
		if s.Ends > s.Starts {
			to = t.at(s.Ends)
		}
		free := []slots.Span{{From: t.at(s.Starts), To: to}}
		for _, h := range t.in.held {
			if plans && h.trainer == s.TrainerID && h.Kind != dayplan.KindHandover {
				from, to := t.minute(h.From), t.minute(h.To)
				if h.Kind == dayplan.KindSession {
					to += changeover
				}
				free = without(free, slots.Span{From: from, To: min(to, t.minutes)})
			}
		}
		t.p.Trainers = append(t.p.Trainers, slots.Trainer{Free: free})
	}
}

// without takes a span out of others.
func without(spans []slots.Span, cut slots.Span) (left []slots.Span) {
	for _, s := range spans {
		if cut.From >= s.To || cut.To <= s.From {
			left = append(left, s)
			continue
		}
		for _, part := range []slots.Span{{From: s.From, To: cut.From}, {From: cut.To, To: s.To}} {
			if part.From < part.To {
				left = append(left, part)
			}
		}
	}
	return left
}

func (t *dayTask) addAreas() {
	for _, a := range t.in.areas {
		open := []slots.Span{{To: t.minutes}}
		for _, c := range t.in.closed {
			if c.AreaID == a.ID {
				open = without(open, slots.Span{From: t.minute(c.From), To: t.minute(c.To)})
			}
		}
		t.p.Areas = append(t.p.Areas, slots.Area{Room: 1, Open: open})
	}
}

// stands reports whether a stay's appointment is one to be left alone: its owner counts on it, or the office is at work on it.
func (t *dayTask) stands(a handover.Appointment) bool {
	if a.State == handover.Missed {
		return true
	}
	onDay := calendar.DateIn(a.Begins, t.in.zone) == t.day
	if a.SiteID != t.in.site.ID || !onDay {
		return false
	}
	if !t.atWork(a) {
		return false
	}
	return a.State != handover.Offered
}

// atWork reports whether the trainer of an appointment is there throughout, plans left aside.
func (t *dayTask) atWork(a handover.Appointment) bool {
	n := slices.IndexFunc(t.shifts, func(s roster.TrainerDay) bool { return s.TrainerID == a.TrainerID })
	if n < 0 {
		return false
	}
	to := t.minutes
	if s := t.shifts[n]; s.Ends > s.Starts {
		to = t.at(s.Ends)
	}
	return t.at(t.shifts[n].Starts) <= t.minute(a.Begins) && t.minute(a.Ends) <= to
}

func (t *dayTask) addVisits() {
	for _, s := range t.in.stays {
		if s.Nights.To != t.day {
			continue
		}
		a, has := t.in.open[s.RequestID]
		switch {
		case has && (t.stands(a) || t.in.ill[s.RequestID]):
			t.kept = append(t.kept, s)
			continue
		case t.in.ill[s.RequestID]:
			t.ill = append(t.ill, s)
			continue
		}
		v := slots.Visit{Minutes: t.in.setting.Minutes, Least: leastMinutes, Miss: pointsMissing, Trainers: t.trainersFor(s), Windows: t.windows(s)}
		for n, area := range t.in.areas {
			if t.in.setting.AreaID.IsZero() || area.ID == t.in.setting.AreaID {
				v.Areas = append(v.Areas, slots.Choice{Of: n, Points: areaPoints[area.Kind]})
			} else {
				v.OtherAreas = append(v.OtherAreas, n)
			}
		}
		for n := range t.in.setting.Gates {
			v.Gates = append(v.Gates, slots.Choice{Of: n, Points: n})
		}
		if has && calendar.DateIn(a.Begins, t.in.zone) == t.day && a.State == handover.Offered {
			v.Kept = slots.Kept{Slot: t.slotOf(a), Moved: pointsMoved, Changed: pointsChanged}
		}
		t.stays, t.p.Visits = append(t.stays, s), append(t.p.Visits, v)
	}
}

// leastMinutes is how short a handover may be made: common practice, no source.
const leastMinutes = 60

// slotOf is an appointment in numbers; -1 for what the day does not know.
func (t *dayTask) slotOf(a handover.Appointment) slots.Slot {
	return slots.Slot{Begin: t.minute(a.Begins), Trainer: slices.IndexFunc(t.shifts, func(s roster.TrainerDay) bool { return s.TrainerID == a.TrainerID }),
		Area: t.areaAt(a.AreaID), Gate: slices.Index(t.in.setting.Gates, a.Gate)}
}

func (t *dayTask) areaAt(id ids.AreaID) int {
	for n, a := range t.in.areas {
		if a.ID == id {
			return n
		}
	}
	return -1
}

// trainersFor lists who may hold a dog's handover: its own trainer, and those at work who may handle it.
func (t *dayTask) trainersFor(s planner.Stay) (out []slots.Choice) {
	need, err := t.in.cases[s.RequestID].Need(s.Nights.From)
	for n, shift := range t.shifts {
		fits := false
		if err == nil {
			fits, _ = planner.Suits(t.in.trainers[shift.TrainerID], need)
		}
		switch {
		case shift.TrainerID == s.TrainerID:
			out = append(out, slots.Choice{Of: n})
		case fits && shift.Minutes > 0:
			out = append(out, slots.Choice{Of: n, Points: pointsOther})
		}
	}
	return out
}

// windows are when an owner can be there. Without a word from the owner it is all day, at a price for hours that the drive makes long.
func (t *dayTask) windows(s planner.Stay) (out []slots.Window) {
	said := false
	for _, w := range t.in.times[s.RequestID] {
		said = true
		if w.Weekday != 0 && w.Weekday != t.day.ISOWeekday() {
			continue
		}
		points := 0
		if !w.Liked {
			points = pointsUnliked
		}
		out = append(out, t.later(slots.Window{Span: slots.Span{From: t.at(w.Starts), To: t.at(w.Ends)}, Points: points})...)
	}
	if said {
		return out
	}
	drive := 0
	for _, choice := range t.in.cases[s.RequestID].Request.Sites {
		if choice.SiteID == s.SiteID {
			drive = choice.TravelMinutes
		}
	}
	out = t.later(slots.Window{Span: slots.Span{To: t.minutes}, Points: pointsEarly})
	if easy := (slots.Span{From: t.at(leavesAt) + drive, To: t.at(homeBy) - drive}); easy.From < easy.To && easy.To <= t.minutes {
		out = append(out, t.later(slots.Window{Span: easy})...)
	}
	return out
}

// later is a window as two: the whole of it, and at a lower price what lies after the morning.
func (t *dayTask) later(w slots.Window) []slots.Window {
	rest := w
	rest.From = max(w.From, t.at(morningEnds))
	w.Points += pointsMorning
	if rest.From >= rest.To {
		return []slots.Window{w}
	}
	return []slots.Window{w, rest}
}

// addStanding adds the appointments that stay as they are, and arrivals that have a time.
func (t *dayTask) addStanding() {
	for _, a := range t.in.standing {
		asked := slices.ContainsFunc(t.stays, func(s planner.Stay) bool { return s.RequestID == a.RequestID })
		if asked && a.Purpose == handover.PurposeHandover {
			continue
		}
		t.fix(a.Begins, a.Ends, slots.Fixed{Trainer: t.slotOf(a).Trainer, Area: t.areaAt(a.AreaID), Gate: slices.Index(t.in.setting.Gates, a.Gate), Handover: a.Purpose == handover.PurposeHandover})
	}
	for _, h := range t.in.held {
		// The trainer is busy already; owners who bring a dog come through the first gate.
		if h.Kind == dayplan.KindIntake && h.SiteID == t.in.site.ID {
			t.fix(h.From, h.To, slots.Fixed{Trainer: -1, Area: -1, Gate: 0})
		}
	}
}

// fix adds what lies within the day.
func (t *dayTask) fix(from, to time.Time, f slots.Fixed) {
	f.Span = slots.Span{From: t.minute(from), To: t.minute(to)}
	if f.From < f.To {
		t.p.Fixed = append(t.p.Fixed, f)
	}
}

// slot is the way back from a slot of a visit.
func (t *dayTask) slot(visit int, s slots.Slot) handover.Slot {
	out := handover.Slot{TrainerID: t.shifts[s.Trainer].TrainerID, Gate: t.in.setting.Gates[s.Gate], Begins: t.instant(s.Begin).UTC(),
		Ends: t.instant(s.Begin + t.p.Visits[visit].Minutes).UTC()}
	if s.Area >= 0 {
		out.AreaID = t.in.areas[s.Area].ID
	}
	return out
}

// local is what clocks at the site show at a minute.
func (t *dayTask) local(minute int) string {
	return calendar.ClockIn(t.instant(minute), t.in.zone).String()
}

// days lists the days on which dogs graduate, in order.
func (in *inputs) graduationDays() (days []calendar.Date) {
	for _, s := range in.stays {
		days = append(days, s.Nights.To)
	}
	slices.SortFunc(days, calendar.Date.Compare)
	return slices.Compact(days)
}
