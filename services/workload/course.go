package workload

import (
	"fmt"
	"math"
	"strings"
)

// Settings of an outlook. All are our own, no source.
const (
	// DefaultCheckTrials is how many trials the check on graduation day has.
	DefaultCheckTrials = 10
	// DefaultOnCourse is the chance of meeting all targets, in percent, from which a dog is on course.
	DefaultOnCourse = 70
	// DefaultExtraDays is the longest stay that is proposed beyond the one agreed, in training days.
	DefaultExtraDays = 14
	// DefaultMostSessions is the most sessions a day that are proposed: common practice is 2 to 4, no source.
	DefaultMostSessions = 4
	// FewLogged is the number of logged sessions of a skill below which a curve rests mostly on the typical dog.
	FewLogged = 3

	mostCheckTrials = 100
	mostTrainingDay = 365
	mostOther       = mostTrainingDay * mostSessions
	mostSkills      = 50
)

// Target is what a program asks of a skill on graduation day. At least one of Percent and HoldSeconds is given.
type Target struct {
	// Percent is the share of trials to be passed, 1 to 100; 0 asks for none.
	Percent int
	// CheckTrials is how many trials the check on graduation day has; 0 takes DefaultCheckTrials.
	CheckTrials int
	// HoldSeconds is how long the dog must hold; 0 asks for none.
	HoldSeconds int
}

func (t Target) trials() int {
	if t.CheckTrials == 0 {
		return DefaultCheckTrials
	}
	return t.CheckTrials
}

// need is how many of the trials of the check must be passed.
func (t Target) need() int { return (t.Percent*t.trials() + 99) / 100 }

// String prints the target for people: "8 of 10 and a hold of 180 s".
func (t Target) String() string {
	var parts []string
	if t.Percent > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d", t.need(), t.trials()))
	}
	if t.HoldSeconds > 0 {
		parts = append(parts, fmt.Sprintf("a hold of %d s", t.HoldSeconds))
	}
	return strings.Join(parts, " and ")
}

func (t Target) validate() error {
	switch {
	case t.Percent < 0 || t.Percent > 100:
		return fmt.Errorf("target of %d %%: use 1 to 100, or 0 for none", t.Percent)
	case t.CheckTrials < 0 || t.CheckTrials > mostCheckTrials:
		return fmt.Errorf("check of %d trials: use 1 to %d, or 0 for %d", t.CheckTrials, mostCheckTrials, DefaultCheckTrials)
	case t.HoldSeconds < 0 || t.HoldSeconds > mostHold:
		return fmt.Errorf("hold of %d seconds: use 1 to %d, or 0 for none", t.HoldSeconds, mostHold)
	case t.Percent == 0 && t.HoldSeconds == 0:
		return fmt.Errorf("no target: give a share of trials or a hold in seconds")
	}
	return nil
}

// SkillRecord is one skill of a dog's program with what was logged of it.
type SkillRecord struct {
	// Name is the skill's name in the program.
	Name     string
	Target   Target
	Sessions []Session
	// Weight is how often the skill has its turn beside the others; 0 counts as 1.
	Weight int
}

// Course is a dog's stay as far as it has come.
type Course struct {
	Skills []SkillRecord
	// BreedTier is 1 to 6, or 0 for unknown.
	BreedTier int
	// Pace is what is typical of the program's dogs.
	Pace Pace
	// DaysLeft is how many training days are left until graduation, today included if its sessions are still to come.
	DaysLeft int
	// SessionsPerDay is how many sessions the dog has on a training day, 1 to 8.
	SessionsPerDay int
	// OtherSessions are those until graduation beside the training days: what is left of a day that has begun, and what others give on
	// the trainer's days off. More sessions a day do not change them.
	OtherSessions int
	// SkillsPerSession is how many skills a session works on; 0 counts as 1.
	SkillsPerSession int
	// OnCoursePercent, MostExtraDays and MostSessions are the site's settings; 0 takes the defaults above.
	OnCoursePercent, MostExtraDays, MostSessions int
	// WithoutProposals leaves them out, which take about as long as all the rest.
	WithoutProposals bool
}

func (c Course) orDefaults() Course {
	for _, f := range []struct {
		value    *int
		standard int
	}{
		{&c.SkillsPerSession, 1}, {&c.OnCoursePercent, DefaultOnCourse}, {&c.MostExtraDays, DefaultExtraDays},
		{&c.MostSessions, max(c.SessionsPerDay, DefaultMostSessions)},
	} {
		if *f.value == 0 {
			*f.value = f.standard
		}
	}
	c.Pace = c.Pace.orDefaults()
	skills := make([]SkillRecord, len(c.Skills))
	for i, s := range c.Skills {
		s.Weight = max(1, s.Weight)
		s.Sessions = inOrder(s.Sessions)
		skills[i] = s
	}
	c.Skills = skills
	return c
}

func (c Course) validate() error {
	for _, f := range []struct {
		name             string
		value, low, high int
	}{
		{"skills", len(c.Skills), 1, mostSkills},
		{"breed tier", c.BreedTier, 0, len(BreedTiers())},
		{"training days left", c.DaysLeft, 0, mostTrainingDay},
		{"sessions a day", c.SessionsPerDay, 1, mostSessions},
		{"other sessions", c.OtherSessions, 0, mostOther},
		{"skills a session", c.SkillsPerSession, 0, mostSkills},
		{"chance to be on course in percent", c.OnCoursePercent, 0, 99},
		{"most extra days", c.MostExtraDays, 0, mostTrainingDay},
		{"most sessions a day", c.MostSessions, 0, mostSessions},
	} {
		if f.value < f.low || f.value > f.high {
			return fmt.Errorf("%s %d: use %d to %d", f.name, f.value, f.low, f.high)
		}
	}
	if err := c.Pace.Validate(); err != nil {
		return err
	}
	seen := map[string]bool{}
	for _, s := range c.Skills {
		if s.Name == "" || seen[s.Name] {
			return fmt.Errorf("skill %q: give every skill a name of its own", s.Name)
		}
		seen[s.Name] = true
		if s.Weight < 0 || s.Weight > mostSkills {
			return fmt.Errorf("skill %q: weight %d: use 1 to %d", s.Name, s.Weight, mostSkills)
		}
		if err := s.Target.validate(); err != nil {
			return fmt.Errorf("skill %q: %w", s.Name, err)
		}
		for _, logged := range s.Sessions {
			if err := logged.validate(); err != nil {
				return fmt.Errorf("skill %q: %w", s.Name, err)
			}
		}
	}
	return nil
}

// further returns how many more sessions each skill has in so many training days and the other sessions: its share of the dog's
// sessions by weight, rounded down, and no more than every session.
func (c Course) further(days, sessionsPerDay int) []int {
	weights := 0
	for _, s := range c.Skills {
		weights += s.Weight
	}
	all := days*sessionsPerDay + c.OtherSessions
	counts := make([]int, len(c.Skills))
	for i, s := range c.Skills {
		counts[i] = min(all, all*c.SkillsPerSession*s.Weight/weights)
	}
	return counts
}

// student is one skill with its posteriors; one that is not asked for has no cells.
type student struct {
	SkillRecord
	tally
	share, hold []cell
}

func (c Course) students() []student {
	students := make([]student, len(c.Skills))
	for i, s := range c.Skills {
		students[i] = newStudent(s, c.Pace, c.BreedTier)
	}
	return students
}

// newStudent expects the sessions in order and a pace without zeros.
func newStudent(s SkillRecord, pace Pace, tier int) student {
	st := student{SkillRecord: s, tally: tallyOf(s.Sessions)}
	if s.Target.Percent > 0 {
		st.share = curveCells(s.Sessions, pace, tier)
	}
	if s.Target.HoldSeconds > 0 {
		st.hold = holdCells(s.Sessions, s.Target.HoldSeconds, pace, tier)
	}
	return st
}

// shareChance is the chance of passing the check after so many further sessions.
func (st student) shareChance(t Target, further int) func(cell) float64 {
	need, n, at := t.need(), t.trials(), st.last+further
	return func(c cell) float64 { return passes(c, at, need, n) }
}

func (st student) holdChance(t Target, further int) func(cell) float64 {
	at := st.last + further
	return func(c cell) float64 { return holds(c, at, t.HoldSeconds) }
}

// mean is the chance of meeting the whole target t, which may be smaller than the one that was fitted with.
func (st student) mean(t Target, further int) float64 {
	chance := 1.0
	if t.Percent > 0 {
		chance *= meanOf(st.share, st.shareChance(t, further))
	}
	if t.HoldSeconds > 0 {
		chance *= meanOf(st.hold, st.holdChance(t, further))
	}
	return chance
}

// few reports whether too little was logged for the curve to be this dog's own.
func (st student) few() bool {
	share := st.Target.Percent > 0 && (st.scored < FewLogged || st.trials < FewSessions)
	hold := st.Target.HoldSeconds > 0 && st.timed < FewLogged
	return share || hold
}

// never reports whether trials were scored and none was passed: then the curve rests on the typical dog alone, however many
// sessions are to come.
func (st student) never() bool { return st.Target.Percent > 0 && st.trials > 0 && st.successes == 0 }

func percent(p float64) int { return int(math.Round(100 * p)) }
