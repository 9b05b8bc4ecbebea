package workload

import (
	"fmt"
	"math"
	"strings"
)

// Flag is what an outlook raises for people to look at. It decides nothing.
type Flag string

// The flags.
const (
	// OnCourse means that the chance of meeting all targets is as high as the site asks.
	OnCourse Flag = "on course"
	// AtRisk means that it is lower, or that a skill was never once passed.
	AtRisk Flag = "at risk"
	// TooFewData means that for a skill too little is logged to say.
	TooFewData Flag = "too few data"
)

// OutlookCaution goes with every outlook.
const OutlookCaution = "A reckoning from logged sessions, to look at with the dog: the trainer and the manager decide. No published test " +
	"predicts a single dog well (Bray et al. 2019, Front. Vet. Sci. 6:49: accuracies from 64 % up)."

// OutlookAssumes says what the chances rest on.
const OutlookAssumes = "Each skill follows a learning curve with constant pace and without bad days; targets are taken as independent of " +
	"each other given what was logged, so the chance of all is the product. A dog that learns one skill quickly tends to learn others " +
	"quickly: the truth then lies between the product and the chance of the weakest target."

// Outlook says how likely a dog is to meet its targets by graduation day.
type Outlook struct {
	Flag Flag
	// All is the chance of meeting all targets, as a product; Low and High are the products of the targets' bounds, which is
	// wider than 95 %.
	All Chance
	// AtMost is the chance of the weakest target: what All would be if targets were met together or not at all.
	AtMost float64
	Skills []SkillOutlook
	// Reasons say why the flag is raised, in words, in the order of the skills; there is at least one.
	Reasons []string
	// Warnings say where data are few.
	Warnings []string
	// Proposals are what could be done, each with the chance that it leads to; none where the chance is high enough already. The
	// manager chooses.
	Proposals []Proposal
	// Observed is how quickly the dog was seen to learn, for PaceFactor and Input.Observed.
	Observed Observed
}

// SkillOutlook is one skill of an outlook.
type SkillOutlook struct {
	Name   string
	Target Target
	// Sessions were scored, Trials in them and Successes of these passed.
	Sessions, Trials, Successes int
	// LowPercent and HighPercent are Wilson's 95 % interval of the share passed so far, rounded outward. It says where the dog was
	// on average, not where it is.
	LowPercent, HighPercent int
	// LongestHold is in seconds, HoldPercent what it is of the target, at most 100; 0 where no hold is asked for.
	LongestHold, HoldPercent int
	// Curve is the best fit to the trials.
	Curve Curve
	// Further is how many more sessions of the skill are planned until graduation.
	Further int
	// Rate is the share of trials that the dog would pass on graduation day; 0 where no share is asked for.
	Rate Chance
	// Share and Hold are the chances of the two parts of the target; 1 where a part is not asked for. Both is their product.
	Share, Hold, Both Chance
	// Warning says in words that data are few; empty where they are not.
	Warning string
}

// LookAhead works out the outlook of a dog. The same course gives the same outlook, whatever the order of its sessions. It
// returns an error that names what cannot be.
func LookAhead(c Course) (Outlook, error) {
	if err := c.validate(); err != nil {
		return Outlook{}, fmt.Errorf("readiness: %w", err)
	}
	c = c.orDefaults()
	students := c.students()
	further := c.further(c.DaysLeft, c.SessionsPerDay)
	o := Outlook{All: certain, AtMost: 1}
	for i, st := range students {
		s := c.skillOutlook(st, further[i])
		o.Skills = append(o.Skills, s)
		o.All = o.All.and(s.Both)
		o.AtMost = min(o.AtMost, s.Share.Mean, s.Hold.Mean)
		if s.Warning != "" {
			o.Warnings = append(o.Warnings, s.Warning)
		}
	}
	o.Observed = c.observed(students)
	o.raise(c, students)
	if !c.WithoutProposals && !c.enough(o.All.Mean) {
		o.Proposals = c.proposals(students)
	}
	return o, nil
}

// certain is the chance of what is not asked for.
var certain = Chance{1, 1, 1}

// and is the chance of two independent things.
func (c Chance) and(o Chance) Chance { return Chance{c.Mean * o.Mean, c.Low * o.Low, c.High * o.High} }

// String prints "72 % (40 to 91)".
func (c Chance) String() string {
	return fmt.Sprintf("%d %% (%d to %d)", percent(c.Mean), percent(c.Low), percent(c.High))
}

func (c Course) skillOutlook(st student, further int) SkillOutlook {
	low, high := Wilson(st.successes, st.trials, Z95)
	s := SkillOutlook{
		Name: st.Name, Target: st.Target, Sessions: st.scored, Trials: st.trials, Successes: st.successes,
		LowPercent: int(math.Floor(100 * low)), HighPercent: int(math.Ceil(100 * high)), LongestHold: st.longest,
		Curve: fitCurve(curveDataOf(st.Sessions), c.Pace, c.BreedTier), Further: further, Share: certain, Hold: certain,
	}
	if st.share != nil {
		at := st.last + further
		s.Rate = chanceOf(st.share, func(c cell) float64 { return passes(c, at, 1, 1) })
		s.Share = chanceOf(st.share, st.shareChance(st.Target, further))
	}
	if st.hold != nil {
		s.HoldPercent = min(100, 100*st.longest/st.Target.HoldSeconds)
		s.Hold = chanceOf(st.hold, st.holdChance(st.Target, further))
	}
	s.Both = s.Share.and(s.Hold)
	switch {
	case !st.few():
	case st.trials == 0 && st.timed == 0:
		s.Warning = st.Name + ": nothing is logged yet; the chance is that of a typical dog of the program, not of this one"
	default:
		s.Warning = fmt.Sprintf("%s: only %s logged; the chance rests mostly on what is typical of the program, not on this dog",
			st.Name, st.logged())
	}
	return s
}

// logged says in words how much was logged of what the target asks for.
func (st student) logged() string {
	var parts []string
	if st.Target.Percent > 0 {
		parts = append(parts, fmt.Sprintf("%s with %s", counted(st.scored, "scored session"), counted(st.trials, "trial")))
	}
	if st.Target.HoldSeconds > 0 {
		parts = append(parts, counted(st.timed, "timed hold"))
	}
	return strings.Join(parts, " and ")
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// observed averages the dog's standing over its skills by scored sessions. The breed is left out of it: PaceFactor adds it.
func (c Course) observed(students []student) Observed {
	var sum float64
	var o Observed
	for _, st := range students {
		if st.scored > 0 {
			sum += float64(st.scored) * fitCurve(curveDataOf(st.Sessions), c.Pace, 0).Standing
			o.Sessions += st.scored
		}
	}
	if o.Sessions > 0 {
		o.Standing = sum / float64(o.Sessions)
	}
	return o
}

// raise sets the flag and its reasons. A skill with enough data and a poor chance puts the dog at risk, whatever is not known
// of the others.
func (o *Outlook) raise(c Course, students []student) {
	asked := float64(c.OnCoursePercent) / 100
	var risk, few bool
	for i, st := range students {
		s := o.Skills[i]
		switch {
		case st.few():
			few = true
			o.Reasons = append(o.Reasons, s.Warning)
		case st.never():
			risk = true
			o.Reasons = append(o.Reasons, fmt.Sprintf("%s: none of %d trials was passed yet, so the chance, %s, rests on what is typical of the program",
				s.Name, s.Trials, s.Both))
		case s.Both.Mean < asked:
			risk = true
			o.Reasons = append(o.Reasons, s.poor())
		}
	}
	switch {
	case risk:
		o.Flag = AtRisk
	case few:
		o.Flag = TooFewData
	case o.All.Mean < asked:
		o.Flag = AtRisk
		o.Reasons = append(o.Reasons, fmt.Sprintf("each target alone is likely enough, all of them together are not: %s, and %d %% is asked for",
			o.All, c.OnCoursePercent))
	default:
		o.Flag = OnCourse
		o.Reasons = append(o.Reasons, fmt.Sprintf("the chance of meeting all targets is %s, and %d %% is asked for", o.All, c.OnCoursePercent))
	}
}

func (s SkillOutlook) poor() string {
	var so string
	if s.Target.Percent > 0 {
		so = fmt.Sprintf("%d of %d trials passed so far", s.Successes, s.Trials)
	}
	if s.Target.HoldSeconds > 0 {
		if so != "" {
			so += ", "
		}
		so += fmt.Sprintf("longest hold %d s", s.LongestHold)
	}
	return fmt.Sprintf("%s: %s; after %s the chance of %s is %s", s.Name, so, counted(s.Further, "more session"), s.Target, s.Both)
}
