package workload

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// The arithmetic of a working day.
const (
	// CareMinutes is the care of one dog on one day: 9 minutes to clean and 6 to feed. Source: NACA/HSUS, cited by the ASV
	// Guidelines for Standards of Care in Animal Shelters (2010). Later texts advise every site to measure its own.
	CareMinutes = 15
	// TurnoverMinutes is fetching a dog before a session and bringing it back after. Common practice, no source.
	TurnoverMinutes = 5
	// EndSessions is how many sessions a dog has at most on its arrival day and on its graduation day, CoverSessions on the day off of its
	// trainer, for which CoverMinutes counts one block. Our own setting, no source.
	EndSessions   = 1
	CoverSessions = 1

	// The limits of a program, wide enough for any that we heard of. Our own setting.
	mostSessions  = 8
	leastSession  = 5
	mostSession   = 60
	mostAgeMonths = 360
	mostWeight    = 120_000
	mostOverride  = 480
	leastReason   = 3
)

// Limits of age and weight at which a person should look twice. All common practice, no source.
const (
	puppyMonths    = 6
	puppyMinutes   = 10
	oldMonths      = 96
	heavyGrams     = 40_000
	houndMinutes   = 5
	heavyPullScore = 3
)

// BaseMinutes returns the trainer minutes of a day before anything is known about the dog: each session with its turnover,
// and the care. 3 sessions of 20 minutes take 90, 2 of 15 take 55.
func BaseMinutes(sessions, sessionMinutes int) int {
	return sessions*(sessionMinutes+TurnoverMinutes) + CareMinutes
}

// Estimate works out what a dog takes. It refuses an input with a value that cannot be, naming the field, the value and what
// is allowed.
func Estimate(in Input) (Need, error) {
	if err := in.validate(); err != nil {
		return Need{}, err
	}
	w := work{
		need:     Need{Care: Open, Skills: map[Skill]int{}},
		training: in.SessionsPerDay * (in.SessionMinutes + TurnoverMinutes),
		block:    in.SessionMinutes + TurnoverMinutes,
	}
	w.addBase(in)
	w.addGoals(in)
	w.addBody(in)
	w.addStanding(in)
	w.addAnswers(in)
	w.addBite(in)
	w.need.CoverMinutes = CoverSessions*w.block + w.careMinutes
	w.addOverride(in.Override)
	return w.need, nil
}

// work collects the answer step by step.
type work struct {
	need Need
	// training is the part of a day that quick or slow learning changes.
	training int
	// block is one session with its turnover.
	block int
	// careMinutes are minutes that fall on every day, also on the trainer's day off.
	careMinutes int
}

func (w *work) minutes(factor string, effect int, text, source string) {
	if effect == 0 {
		return
	}
	w.need.Minutes += effect
	w.need.Reasons = append(w.need.Reasons, Reason{Factor: factor, Kind: Minutes, Effect: effect, Text: text, Source: source})
}

// daily adds minutes that whoever covers must give too.
func (w *work) daily(factor string, effect int, text, source string) {
	w.careMinutes += effect
	w.minutes(factor, effect, text, source)
}

// skill asks for a level; a reason is given only where it raises the level.
func (w *work) skill(factor string, s Skill, level int, text, source string) {
	if level <= w.need.Skills[s] {
		return
	}
	w.need.Skills[s] = level
	w.need.Reasons = append(w.need.Reasons,
		Reason{Factor: factor, Kind: SkillLevel, Skill: s, Effect: level, Text: text, Source: source})
}

// care asks for a class. Every reason is listed, also one that does not raise the class: lifting one of two must show the
// other.
func (w *work) care(factor string, c Care, text, source string) {
	if c == "" || c == Open {
		return
	}
	w.need.Care = w.need.Care.Stricter(c)
	w.need.Reasons = append(w.need.Reasons, Reason{Factor: factor, Kind: CareClass, Effect: c.rank(), Text: text, Source: source})
}

func (w *work) caution(format string, args ...any) {
	w.need.Cautions = append(w.need.Cautions, fmt.Sprintf(format, args...))
}

func (w *work) addBase(in Input) {
	w.minutes("sessions", w.training,
		fmt.Sprintf("%d sessions of %d minutes and %d to fetch the dog and bring it back",
			in.SessionsPerDay, in.SessionMinutes, TurnoverMinutes), sourcePractice)
	w.daily("care", CareMinutes, "9 minutes to clean and 6 to feed",
		"NACA/HSUS, cited by ASV Guidelines for Standards of Care in Animal Shelters 2010; measure your own")
}

func (w *work) addGoals(in Input) {
	for _, s := range Skills() {
		if level := in.Goals[s]; level > 0 {
			w.skill("program", s, level, fmt.Sprintf("the program teaches %s", s), "the program's goals")
		}
	}
}

func (w *work) addBody(in Input) {
	switch {
	case in.AgeMonths == 0:
		w.caution("The dog's age is not recorded. Ask: puppies and old dogs need a gentler day.")
	case in.AgeMonths < puppyMonths:
		w.daily("age", puppyMinutes, "a puppy goes out more often", sourcePractice)
		w.caution("The dog is %d months old. Many schools take dogs from %d months; keep sessions to about 5 minutes and ask the "+
			"veterinarian which vaccines it can have had.", in.AgeMonths, puppyMonths)
	case in.AgeMonths >= oldMonths:
		w.caution("The dog is %d years old. Ask for a veterinarian's word on joints, heart, sight and hearing before it works.",
			in.AgeMonths/12)
	}
	if in.WeightGrams >= heavyGrams && in.Answers[PullsOnLead] >= heavyPullScore {
		w.care("weight", Guarded, fmt.Sprintf("it weighs %d kg and pulls", in.WeightGrams/1000), sourcePractice)
	}
	if in.Hound {
		w.minutes("hound", houndMinutes, "hounds ask for more patience", sourcePractice)
	}
}

func (w *work) addOverride(o *Override) {
	if o == nil {
		return
	}
	text := "a person decided: " + strings.TrimSpace(o.Reason)
	const source = "the trainer's word, kept with the dog"
	if o.Minutes > 0 {
		w.minutes("override", o.Minutes-w.need.Minutes, text, source)
		// Whoever covers gives no more than a full day, whatever was worked out.
		w.need.CoverMinutes = min(w.need.CoverMinutes, o.Minutes)
	}
	if o.Care != "" && o.Care != w.need.Care {
		if o.Care.rank() < w.need.Care.rank() {
			w.caution("A person set the care class to %s where %s was worked out: %s", o.Care, w.need.Care, strings.TrimSpace(o.Reason))
		}
		w.need.Care = o.Care
		w.need.Reasons = append(w.need.Reasons,
			Reason{Factor: "override", Kind: CareClass, Effect: o.Care.rank(), Text: text, Source: source})
	}
	for _, s := range Skills() {
		level, named := o.Skills[s]
		if !named || level == w.need.Skills[s] {
			continue
		}
		w.need.Skills[s] = level
		if level == 0 {
			delete(w.need.Skills, s)
		}
		w.need.Reasons = append(w.need.Reasons,
			Reason{Factor: "override", Kind: SkillLevel, Skill: s, Effect: level, Text: text, Source: source})
	}
}

func (in Input) validate() error {
	for _, f := range []struct {
		name             string
		value, low, high int
	}{
		{"sessions a day", in.SessionsPerDay, 1, mostSessions},
		{"session minutes", in.SessionMinutes, leastSession, mostSession},
		{"age in months", in.AgeMonths, 0, mostAgeMonths},
		{"weight in grams", in.WeightGrams, 0, mostWeight},
		{"breed tier", in.BreedTier, 0, len(BreedTiers())},
		{"logged sessions", in.Logged.Sessions, 0, 1 << 20},
		{"mean score", in.Logged.MeanScore, 0, 100},
		{"observed sessions", in.Observed.Sessions, 0, 1 << 20},
	} {
		if f.value < f.low || f.value > f.high {
			return fmt.Errorf("%s %d: use %d to %d", f.name, f.value, f.low, f.high)
		}
	}
	if err := validateLevels("goal", in.Goals, LowestLevel); err != nil {
		return err
	}
	if _, known := biteByLevel(in.BiteLevel); in.BiteLevel != "" && !known {
		return fmt.Errorf("bite level %q: use 1, 2, 3, 3b, 4, 5 or 6, or leave it empty when no bite is on record", in.BiteLevel)
	}
	if err := validateAnswers(in.Answers); err != nil {
		return err
	}
	return in.Override.validate()
}

func (o *Override) validate() error {
	switch {
	case o == nil:
		return nil
	case len(strings.TrimSpace(o.Reason)) < leastReason:
		return fmt.Errorf("override: give the reason in words; it is kept")
	case o.Minutes < 0 || o.Minutes > mostOverride:
		return fmt.Errorf("override minutes %d: use 1 to %d, or 0 to leave what was worked out", o.Minutes, mostOverride)
	case o.Care != "" && !o.Care.IsValid():
		return fmt.Errorf("override care class %q: use open, guarded or restricted", o.Care)
	}
	return validateLevels("override of skill", o.Skills, 0)
}

// validateLevels walks the skills in a fixed order, so that of two faults always the same one is named.
func validateLevels(what string, levels map[Skill]int, lowest int) error {
	for _, s := range slices.Sorted(maps.Keys(levels)) {
		if !s.IsValid() {
			return fmt.Errorf("%s %q: use one of %v", what, s, Skills())
		}
		if level := levels[s]; level < lowest || level > HighestLevel {
			return fmt.Errorf("%s %s at level %d: use %d to %d", what, s, level, lowest, HighestLevel)
		}
	}
	return nil
}
