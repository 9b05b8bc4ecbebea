package enrollment

import (
	"fmt"
	"slices"

	"github.com/longlead/longlead/services/calendar"
)

// Course says whether a shot belongs to the first course of a vaccine or renews it, as the certificate states.
type Course string

// The courses.
const (
	CoursePrimary Course = "primary"
	CourseBooster Course = "booster"
)

// Shot is one vaccination as it stands in the record. A shot may lie in the future: one that the owner plans.
type Shot struct {
	// Vaccine is a name of VaccineSettings, or another name for it such as dapp.
	Vaccine string        `db:"vaccine" json:"vaccine"`
	Given   calendar.Date `db:"given" json:"given"`
	Course  Course        `db:"course" json:"course"`
	// LabelMonths is how long the label says it holds. 0 or less means that the label is unknown; the shot then holds as
	// long as a first one, never longer.
	LabelMonths int `db:"label_months" json:"label_months"`
}

// FaultKind says what is wrong with a vaccine.
type FaultKind string

// The kinds of faults.
const (
	// FaultMissing means that no shot is on record.
	FaultMissing FaultKind = "missing"
	// FaultIncomplete means that the first course lacks a dose.
	FaultIncomplete FaultKind = "first course not complete"
	// FaultTooRecent means that the shot does not count yet on some day of the stay.
	FaultTooRecent FaultKind = "too recent"
	// FaultOverdue means that it had lapsed before arrival.
	FaultOverdue FaultKind = "overdue"
	// FaultLapses means that it is valid on arrival and lapses before the end of the graduation day.
	FaultLapses FaultKind = "lapses during the stay"
)

// VaccineFault is a required vaccine that is not valid on every day of a stay. Defer to local law and to a veterinarian.
type VaccineFault struct {
	Vaccine string
	Kind    FaultKind
	// Text says what is wrong, with dates.
	Text string
	// Rule is the rule with its citation.
	Rule string
	// ValidFrom and ValidUntil are the first and last valid day of the record that comes nearest: valid on arrival, else the
	// next one to begin, else the last one that ended. Both are absent when the record is valid on no day.
	ValidFrom, ValidUntil calendar.Date
	// Remedy says what would mend it.
	Remedy string
}

// CheckVaccines holds a dog's shots against the vaccines that a site requires and returns one fault for each that is not
// valid on every day from arrival through graduation, both included, in the order of rules. Nothing wrong is nil. A
// graduation before the arrival is read as the arrival day itself.
func CheckVaccines(shots []Shot, rules []VaccineRule, arrival, graduation calendar.Date) []VaccineFault {
	if graduation.Before(arrival) {
		graduation = arrival
	}
	var faults []VaccineFault
	for _, r := range rules {
		if f, faulty := r.check(shots, arrival, graduation); faulty {
			faults = append(faults, f)
		}
	}
	return faults
}

// EarliestValidArrival returns the first arrival day, not before from, on which every required vaccine would be valid for a
// stay of so many nights, graduation day included, with the shots on record. It returns the absent date when the record
// gives no such day: then a shot is needed first.
func EarliestValidArrival(shots []Shot, rules []VaccineRule, from calendar.Date, nights int) calendar.Date {
	// Validity begins only on the first day of a valid period, so no other day can be the earliest.
	candidates := []calendar.Date{from}
	for _, r := range rules {
		for _, p := range r.periods(shots) {
			if p.from.After(from) {
				candidates = append(candidates, p.from)
			}
		}
	}
	slices.SortFunc(candidates, calendar.Date.Compare)
	for _, arrival := range candidates {
		if len(CheckVaccines(shots, rules, arrival, arrival.AddDays(nights))) == 0 {
			return arrival
		}
	}
	return calendar.Date{}
}

// period is a run of valid days, both ends included: certificates state a last valid day.
type period struct{ from, until calendar.Date }

func (p period) contains(d calendar.Date) bool { return !d.Before(p.from) && !d.After(p.until) }

// check finds the first day of the stay on which the vaccine is not valid.
func (r VaccineRule) check(shots []Shot, arrival, graduation calendar.Date) (VaccineFault, bool) {
	periods := r.periods(shots)
	f := VaccineFault{Vaccine: r.Vaccine, Rule: r.Text()}
	at := slices.IndexFunc(periods, func(p period) bool { return p.contains(arrival) })
	next := slices.IndexFunc(periods, func(p period) bool { return p.from.After(arrival) })
	switch {
	case at >= 0 && !periods[at].until.Before(graduation):
		return VaccineFault{}, false
	case at >= 0:
		f.fill(FaultLapses, periods[at])
		f.Text = fmt.Sprintf("%s is valid through %s and lapses before the graduation day %s", r.Vaccine, f.ValidUntil, graduation)
		f.Remedy = fmt.Sprintf("have a booster given before arrival, on or before %s, or end the stay by %s",
			earlier(f.ValidUntil, arrival), f.ValidUntil)
	case next >= 0:
		f.fill(FaultTooRecent, periods[next])
		f.Text = fmt.Sprintf("%s counts from %s only, after the arrival day %s", r.Vaccine, f.ValidFrom, arrival)
		f.Remedy = fmt.Sprintf("arrive on or after %s", f.ValidFrom)
		if f.ValidUntil.Before(graduation) {
			f.Text += fmt.Sprintf(", and lapses after %s, before the graduation day %s", f.ValidUntil, graduation)
			f.Remedy = "have another shot given before arrival; ask the veterinarian when"
		}
	case len(periods) > 0:
		f.fill(FaultOverdue, periods[len(periods)-1])
		f.Text = fmt.Sprintf("%s lapsed after %s, before the arrival day %s", r.Vaccine, f.ValidUntil, arrival)
		f.Remedy = "have a booster given on or before " + arrival.AddDays(-r.lateBoosterWait()).String() + ", or arrive later"
	case r.counts(shots):
		f.Kind = FaultIncomplete
		f.Text = fmt.Sprintf("%s takes %d first doses, %d to %d days apart; the record shows too few",
			r.Vaccine, r.PrimaryDoses, r.LeastGapDays, r.MostGapDays)
		f.Remedy = fmt.Sprintf("have the missing dose given on or before %s, or arrive later; ask the veterinarian",
			arrival.AddDays(-r.WaitDays))
	default:
		f.Kind = FaultMissing
		f.Text = fmt.Sprintf("no %s vaccination is on record", r.Vaccine)
		f.Remedy = fmt.Sprintf("have the first course completed on or before %s, or arrive later; if it was given, send the certificate",
			arrival.AddDays(-r.WaitDays))
	}
	return f, true
}

func (f *VaccineFault) fill(kind FaultKind, p period) {
	f.Kind, f.ValidFrom, f.ValidUntil = kind, p.from, p.until
}

// counts reports whether any shot on record is of this vaccine.
func (r VaccineRule) counts(shots []Shot) bool {
	return slices.ContainsFunc(shots, func(s Shot) bool { return r.takes(s.Vaccine) })
}

// periods works out the days on which the shots make the vaccine valid, in order, touching periods joined.
func (r VaccineRule) periods(shots []Shot) []period {
	var mine []Shot
	for _, s := range shots {
		if r.takes(s.Vaccine) && !s.Given.IsZero() {
			mine = append(mine, s)
		}
	}
	slices.SortStableFunc(mine, func(a, b Shot) int { return a.Given.Compare(b.Given) })
	var found []period
	var c courseState
	for _, s := range mine {
		if p, valid := r.period(s, &c); valid {
			found = append(found, p)
		}
	}
	return join(found)
}

// courseState is how far a dog is with one vaccine, walking its shots in order.
type courseState struct {
	// doses counts the first course that is running; last is its latest dose.
	doses int
	last  calendar.Date
	// from is when the latest complete first course begins to count, until the last valid day so far; both absent before a
	// course is complete.
	from, until calendar.Date
}

// period returns the valid days that one shot adds, and moves the state on.
func (r VaccineRule) period(s Shot, c *courseState) (period, bool) {
	// A booster without any earlier shot on record is believed: owners often send the latest certificate only. One that
	// follows an unfinished first course is the next dose of it, whatever the certificate calls it.
	unfinished := c.doses > 0 && c.until.IsZero()
	if s.Course == CourseBooster && !unfinished {
		return r.booster(s, c), true
	}
	return r.dose(s, c)
}

// booster returns the valid days of a shot that renews the vaccine.
func (r VaccineRule) booster(s Shot, c *courseState) period {
	p := period{s.Given, s.Given.AddMonths(r.months(s, r.MostMonths))}
	// After a lapse, and where no earlier shot is on record and a lapse cannot be ruled out.
	if s.Given.After(c.until) {
		p.from = s.Given.AddDays(r.lateBoosterWait())
	}
	// A booster given while the first course is still waiting does not shorten the wait.
	p.from = later(p.from, c.from)
	c.until = later(c.until, p.until)
	return p
}

// dose returns the valid days of a shot of the first course, if it completes the course.
func (r VaccineRule) dose(s Shot, c *courseState) (period, bool) {
	gap := s.Given.Sub(c.last)
	switch {
	case c.doses == 0 || r.PrimaryDoses <= 1 || gap > r.MostGapDays:
		c.doses = 1
	case gap < r.LeastGapDays:
		return period{}, false // too close to count as a dose of its own
	default:
		c.doses++
	}
	c.last = s.Given
	if c.doses < r.PrimaryDoses {
		return period{}, false
	}
	p := period{s.Given.AddDays(r.WaitDays), s.Given.AddMonths(r.months(s, r.PrimaryMonths))}
	c.from, c.until = p.from, later(c.until, p.until)
	return p, true
}

// months is how long a shot holds: what its label says, but never longer than most nor than the rule allows at all.
func (r VaccineRule) months(s Shot, most int) int {
	most = min(most, r.MostMonths)
	if s.LabelMonths <= 0 {
		return min(most, r.PrimaryMonths)
	}
	return min(most, s.LabelMonths)
}

// lateBoosterWait is how many days after an overdue booster the vaccine counts again.
func (r VaccineRule) lateBoosterWait() int {
	if r.LateBoosterCounts {
		return 0
	}
	return r.WaitDays
}

// join sorts periods and joins those that overlap or follow each other without a day between.
func join(periods []period) []period {
	slices.SortFunc(periods, func(a, b period) int { return a.from.Compare(b.from) })
	var joined []period
	for _, p := range periods {
		if p.until.Before(p.from) {
			continue
		}
		if n := len(joined); n > 0 && !p.from.After(joined[n-1].until.AddDays(1)) {
			joined[n-1].until = later(joined[n-1].until, p.until)
			continue
		}
		joined = append(joined, p)
	}
	return joined
}

func later(a, b calendar.Date) calendar.Date {
	if a.Before(b) {
		return b
	}
	return a
}

func earlier(a, b calendar.Date) calendar.Date {
	if b.Before(a) {
		return b
	}
	return a
}
