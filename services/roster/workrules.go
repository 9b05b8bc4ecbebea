package roster

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/longlead/longlead/services/calendar"
)

// WorkRulesCaution goes with every answer of CheckWork.
const WorkRulesCaution = "This compares shifts with the settings of the site. It is not legal advice: law, contracts and agreements go before it."

// WorkPreset is a set of work rules to start a site's settings from.
type WorkPreset struct {
	Name string
	// Rule has no site yet.
	Rule WorkRule
}

// WorkPresets returns the presets. Each leaves out what its law leaves to averages, agreements or states; see Citation.
func WorkPresets() []WorkPreset {
	return []WorkPreset{
		{"EU", WorkRule{
			DailyRestMinutes: 11 * 60, MealAfterMinutes: 6 * 60, MealMinutes: 20, WeeklyMinutes: 48 * 60, WeeklyRestMinutes: (24 + 11) * 60,
			Citation: "Directive 2003/88/EC arts 3-6 and 16; the length of the break is left to agreements (20 minutes: our own setting) and the " +
				"48 hours are an average of up to 4 months, checked here week by week; not legal advice",
		}},
		{"UK", WorkRule{
			DailyRestMinutes: 11 * 60, MealAfterMinutes: 6 * 60, MealMinutes: 20, WeeklyMinutes: 48 * 60, WeeklyRestMinutes: 24 * 60,
			Citation: "Working Time Regulations 1998 regs 4 and 10-12; the 48 hours are an average of 17 weeks, checked here week by week; " +
				"not legal advice",
		}},
		{"US", WorkRule{
			MealMinutes: 30,
			Citation: "29 CFR 785.19: a meal of less than 30 minutes, or with work in it, is working time; federal law sets no rest and no " +
				"meal, states may; not legal advice",
		}},
	}
}

// WorkedShift is one shift on one day.
type WorkedShift struct {
	// Day is the day on which the shift begins.
	Day calendar.Date
	// Starts and Ends are local times. Ends at or before Starts is on the next day.
	Starts, Ends calendar.Clock
	// MealMinutes is the break inside the shift.
	MealMinutes int
	// Zone is the zone of the site.
	Zone *time.Location
}

// WorkFinding is one place where shifts break a rule.
type WorkFinding struct {
	// Trainer is the trainer's code as it was handed in.
	Trainer string
	// Day is the day on which it shows.
	Day calendar.Date
	// Rule names the rule in words.
	Rule string
	// Measured and Required carry their units.
	Measured, Required string
	Citation           string
	// Remedy says what would mend it.
	Remedy string
}

// CheckWork holds the shifts of one trainer against the rules and returns what breaks them, by day and rule. Rules that are 0
// are off. All lengths are measured between instants, so a night in which clocks change has its true length.
//
// known are the days whose shifts are all handed in; the zero Span means the whole ISO weeks that the shifts lie in. Pass
// the week before and the week after the days of interest, or rest that reaches across their ends is seen too short. It
// returns an error only for a shift without day or zone, or with a time that is no time.
func CheckWork(trainer string, shifts []WorkedShift, known calendar.Span, rule WorkRule) ([]WorkFinding, error) {
	c := workCheck{trainer: trainer, rule: rule}
	for _, s := range shifts {
		if err := c.add(s); err != nil {
			return nil, fmt.Errorf("check the shifts of %s: %w", trainer, err)
		}
	}
	if len(c.worked) == 0 {
		return nil, nil
	}
	slices.SortStableFunc(c.worked, func(a, b worked) int { return cmp.Or(a.start.Compare(b.start), a.end.Compare(b.end)) })
	c.checkOverlap()
	c.checkDailyRest()
	c.checkMeals()
	c.checkWeeklyWork()
	if err := c.checkWeeklyRest(known); err != nil {
		return nil, fmt.Errorf("check the weekly rest of %s: %w", trainer, err)
	}
	slices.SortStableFunc(c.findings, func(a, b WorkFinding) int { return cmp.Or(a.Day.Compare(b.Day), cmp.Compare(a.Rule, b.Rule)) })
	return c.findings, nil
}

// worked is a shift as a pair of instants.
type worked struct {
	WorkedShift
	start, end time.Time
}

// length is the true length of the shift.
func (w worked) length() time.Duration { return w.end.Sub(w.start) }

type workCheck struct {
	trainer  string
	rule     WorkRule
	worked   []worked
	findings []WorkFinding
}

func (c *workCheck) find(day calendar.Date, rule, measured, required, remedy string) {
	c.findings = append(c.findings, WorkFinding{Trainer: c.trainer, Day: day, Rule: rule, Measured: measured, Required: required,
		Citation: c.rule.Citation, Remedy: remedy})
}

func (c *workCheck) add(s WorkedShift) error {
	endDay := s.Day
	if s.Ends <= s.Starts {
		endDay = s.Day.AddDays(1)
	}
	start, err := c.instant(s.Day, s.Day, s.Starts, s.Zone)
	if err != nil {
		return fmt.Errorf("start of the shift on %s: %w", s.Day, err)
	}
	end, err := c.instant(s.Day, endDay, s.Ends, s.Zone)
	if err != nil {
		return fmt.Errorf("end of the shift on %s: %w", s.Day, err)
	}
	c.worked = append(c.worked, worked{s, start, end})
	return nil
}

// instant turns a local time into an instant. A time that clocks skip is reported and read as the moment of the jump: a
// weekly pattern cannot know about that one night.
func (c *workCheck) instant(shiftDay, d calendar.Date, at calendar.Clock, zone *time.Location) (time.Time, error) {
	t, err := calendar.At(d, at, zone)
	if skipped, ok := errors.AsType[*calendar.SkippedError](err); ok {
		c.find(shiftDay, "time that exists", fmt.Sprintf("%s %s, skipped by the clocks", d, at), "a time that the clocks show",
			fmt.Sprintf("agree on %s instead", skipped.ResumesAt))
		return skipped.Resumes, nil
	}
	return t, err
}

func (c *workCheck) checkOverlap() {
	for i := 1; i < len(c.worked); i++ {
		before, w := c.latestEnding(i), c.worked[i]
		if w.start.Before(before.end) {
			c.find(w.Day, "one shift at a time", fmt.Sprintf("begins %s before the shift of %s ends", hours(before.end.Sub(w.start)), before.Day),
				"no overlap", "move or shorten one of the two shifts")
		}
	}
}

// latestEnding returns, of the first n shifts, the one that ends last.
func (c *workCheck) latestEnding(n int) worked {
	return slices.MaxFunc(c.worked[:n], func(a, b worked) int { return a.end.Compare(b.end) })
}

// checkDailyRest measures the rest after each working day: until the next one begins, but no longer than 24 hours after its
// own beginning, because the rest is asked for in each period of 24 hours. Two shifts of one day are one working day.
func (c *workCheck) checkDailyRest() {
	required := minutes(c.rule.DailyRestMinutes)
	if required == 0 {
		return
	}
	days := c.byDay()
	for i, d := range days {
		until, shows := d.start.Add(24*time.Hour), d.Day
		if i+1 < len(days) && !days[i+1].start.After(until) {
			until, shows = days[i+1].start, days[i+1].Day
		}
		rest := max(0, until.Sub(d.end))
		if rest >= required {
			continue
		}
		remedy := fmt.Sprintf("end the shift of %s at least %s earlier", d.Day, hours(required-rest))
		if shows != d.Day {
			remedy = fmt.Sprintf("begin at least %s later, or end the shift of %s earlier", hours(required-rest), d.Day)
		}
		c.find(shows, "daily rest", fmt.Sprintf("%s after the shift of %s", hours(rest), d.Day), "at least "+hours(required), remedy)
	}
}

// byDay joins the shifts that begin on one day, in order.
func (c *workCheck) byDay() []worked {
	var days []worked
	for _, w := range c.worked {
		if n := len(days); n > 0 && days[n-1].Day == w.Day {
			if w.end.After(days[n-1].end) {
				days[n-1].end = w.end
			}
			continue
		}
		days = append(days, w)
	}
	return days
}

func (c *workCheck) checkMeals() {
	for _, w := range c.worked {
		meal, least := minutes(w.MealMinutes), minutes(c.rule.MealMinutes)
		switch after := minutes(c.rule.MealAfterMinutes); {
		case meal >= least:
		case after > 0 && w.length() > after:
			c.find(w.Day, "meal break", fmt.Sprintf("%s in a shift of %s", hours(meal), hours(w.length())),
				fmt.Sprintf("at least %s in a shift longer than %s", hours(least), hours(after)), "plan a longer break, or a shorter shift")
		case after == 0 && meal > 0:
			c.find(w.Day, "short meal is working time", hours(meal), "at least "+hours(least)+" to be time off",
				"plan a longer meal, or count it as working time")
		}
	}
}

// workedTime leaves out a meal, unless it is too short to count as time off.
func (c *workCheck) workedTime(w worked) time.Duration {
	if w.MealMinutes < c.rule.MealMinutes {
		return w.length()
	}
	return max(0, w.length()-minutes(w.MealMinutes))
}

// checkWeeklyWork adds up ISO weeks. A shift counts in the week in which it begins.
func (c *workCheck) checkWeeklyWork() {
	most := minutes(c.rule.WeeklyMinutes)
	if most == 0 {
		return
	}
	var sum time.Duration
	for i, w := range c.worked {
		sum += c.workedTime(w)
		if i+1 < len(c.worked) && monday(c.worked[i+1].Day) == monday(w.Day) {
			continue
		}
		if sum > most {
			c.find(w.Day, "weekly work", fmt.Sprintf("%s in week %s", hours(sum), weekName(w.Day)), "at most "+hours(most),
				fmt.Sprintf("take %s out of the week", hours(sum-most)))
		}
		sum = 0
	}
}

// rest is a time without a shift. left is what of it no week has claimed yet.
type rest struct {
	start, end time.Time
	left       time.Duration
}

// checkWeeklyRest asks for an unbroken rest in each ISO week with a shift, if all days of the week are known. Each week needs
// a rest of its own: one that touches the week, as long as the rule asks, and not claimed by an earlier week. A rest across
// Sunday night may serve the week on either side, and both when it is twice as long.
func (c *workCheck) checkWeeklyRest(known calendar.Span) error {
	required := minutes(c.rule.WeeklyRestMinutes)
	if required == 0 {
		return nil
	}
	if known.IsEmpty() {
		known = calendar.Span{From: monday(c.worked[0].Day), To: monday(c.worked[len(c.worked)-1].Day).AddDays(7)}
	}
	rests, err := c.rests(known)
	if err != nil {
		return err
	}
	for i, w := range c.worked {
		first := monday(w.Day)
		if i+1 < len(c.worked) && monday(c.worked[i+1].Day) == first {
			continue // the last shift of the week speaks for it
		}
		if first.Before(known.From) || first.AddDays(7).After(known.To) {
			continue
		}
		start, _, err := calendar.DayBounds(first, w.Zone)
		if err != nil {
			return err
		}
		end, _, err := calendar.DayBounds(first.AddDays(7), w.Zone)
		if err != nil {
			return err
		}
		longest, found := claim(rests, start, end, required)
		if !found {
			c.find(w.Day, "weekly rest", fmt.Sprintf("%s at most in week %s", hours(longest), weekName(w.Day)), "at least "+hours(required),
				"free a day of the week, or two half days that touch")
		}
	}
	return nil
}

// rests lists the times without a shift, in order, from the first known day to the last.
func (c *workCheck) rests(known calendar.Span) ([]rest, error) {
	from, _, err := calendar.DayBounds(known.From, c.worked[0].Zone)
	if err != nil {
		return nil, err
	}
	to, _, err := calendar.DayBounds(known.To, c.worked[len(c.worked)-1].Zone)
	if err != nil {
		return nil, err
	}
	var rests []rest
	free := from
	for _, w := range c.worked {
		if w.start.After(free) {
			rests = append(rests, rest{free, w.start, w.start.Sub(free)})
		}
		if w.end.After(free) {
			free = w.end
		}
	}
	if to.After(free) {
		rests = append(rests, rest{free, to, to.Sub(free)})
	}
	return rests, nil
}

// claim takes required from the first rest that touches the week and has that much left. The first is the right one to take:
// later ones can still serve later weeks. Without one it returns the longest that is left.
func claim(rests []rest, start, end time.Time, required time.Duration) (longest time.Duration, found bool) {
	touches := func(r rest) bool { return r.start.Before(end) && r.end.After(start) }
	i := slices.IndexFunc(rests, func(r rest) bool { return touches(r) && r.left >= required })
	if i >= 0 {
		rests[i].left -= required
		return rests[i].left, true
	}
	for _, r := range rests {
		if touches(r) {
			longest = max(longest, r.left)
		}
	}
	return longest, false
}

func minutes(n int) time.Duration { return time.Duration(n) * time.Minute }

// monday returns the first day of the ISO week.
func monday(d calendar.Date) calendar.Date { return d.AddDays(1 - d.ISOWeekday()) }

func weekName(d calendar.Date) string {
	year, week := d.ISOWeek()
	return fmt.Sprintf("%d-W%02d", year, week)
}

// hours prints a length for people: 10 h, 10 h 30 min, 30 min.
func hours(d time.Duration) string {
	h, m := int(d.Hours()), int(d.Minutes())%60
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}
