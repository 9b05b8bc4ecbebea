package workload

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// ProposalKind says what a proposal would change.
type ProposalKind string

// The kinds of proposals, in the order in which they are listed.
const (
	// MoreSessions is more sessions a day until graduation.
	MoreSessions ProposalKind = "more sessions"
	// LongerStay moves graduation day back.
	LongerStay ProposalKind = "longer stay"
	// SmallerGoal asks for less on graduation day.
	SmallerGoal ProposalKind = "smaller goal"
)

// The smallest goals that are proposed, and the steps down to them. Our own settings, no source.
const (
	leastPercent, percentStep = 50, 5
	leastHold, holdStep       = 15, 15
)

// Goal is a smaller target for one skill.
type Goal struct {
	Skill    string
	From, To Target
}

// Proposal is one thing that could be done for a dog, with the chance that it leads to. Nothing is changed by it.
type Proposal struct {
	Kind ProposalKind
	// SessionsPerDay is for MoreSessions: the number of sessions a day from now on.
	SessionsPerDay int
	// ExtraDays is for LongerStay: training days beyond those that are left. Every later booking that it touches must be looked at
	// first.
	ExtraDays int
	// Goals is for SmallerGoal: the skills whose target would change.
	Goals []Goal
	// Chance is the chance of meeting all targets then, and Enough whether it is as high as the site asks. Where nothing within
	// the site's settings is enough, the most that they allow is proposed.
	Chance float64
	Enough bool
	// Text says it in words.
	Text string
}

// proposals lists the least change of each kind that is enough.
func (c Course) proposals(students []student) []Proposal {
	var list []Proposal
	if c.DaysLeft > 0 && c.SessionsPerDay < c.MostSessions {
		list = append(list, c.moreSessions(students))
	}
	list = append(list, c.longerStay(students))
	if p, ok := c.smallerGoal(students); ok {
		list = append(list, p)
	}
	return list
}

// all is the chance of meeting all targets after further sessions, skill by skill.
func all(students []student, further []int) float64 {
	chance := 1.0
	for i, st := range students {
		chance *= st.mean(st.Target, further[i])
	}
	return chance
}

func (c Course) enough(chance float64) bool { return chance >= float64(c.OnCoursePercent)/100 }

// least returns the smallest of 1 to most that is enough, or most, with its chance. More never lowers a chance, so halving
// finds it.
func (c Course) least(most int, chance func(n int) float64) (n int, then float64) {
	known := map[int]float64{}
	at := func(n int) float64 {
		if _, ok := known[n]; !ok {
			known[n] = chance(n)
		}
		return known[n]
	}
	n = 1 + sort.Search(most-1, func(i int) bool { return c.enough(at(i + 1)) })
	return n, at(n)
}

func (c Course) moreSessions(students []student) Proposal {
	more, chance := c.least(c.MostSessions-c.SessionsPerDay, func(n int) float64 {
		return all(students, c.further(c.DaysLeft, c.SessionsPerDay+n))
	})
	p := Proposal{Kind: MoreSessions, SessionsPerDay: c.SessionsPerDay + more, Chance: chance, Enough: c.enough(chance)}
	p.Text = fmt.Sprintf("%d sessions a day instead of %d, spaced over the day: %s", p.SessionsPerDay, c.SessionsPerDay, p.leads())
	return p
}

func (c Course) longerStay(students []student) Proposal {
	days, chance := c.least(c.MostExtraDays, func(n int) float64 {
		return all(students, c.further(c.DaysLeft+n, c.SessionsPerDay))
	})
	p := Proposal{Kind: LongerStay, ExtraDays: days, Chance: chance, Enough: c.enough(chance)}
	p.Text = fmt.Sprintf("%s longer: %s; look first at the bookings that this touches", counted(days, "training day"), p.leads())
	return p
}

// smallerGoal lowers each part of a target that is too unlikely just so far that all together can be enough: with n parts each
// needs the n-th root of what is asked.
func (c Course) smallerGoal(students []student) (Proposal, bool) {
	parts := 0
	for _, st := range students {
		parts += min(1, st.Target.Percent) + min(1, st.Target.HoldSeconds)
	}
	asked := math.Pow(float64(c.OnCoursePercent)/100, 1/float64(parts))
	further := c.further(c.DaysLeft, c.SessionsPerDay)
	p := Proposal{Kind: SmallerGoal, Chance: 1}
	var words []string
	for i, st := range students {
		to := st.lowered(asked, further[i])
		p.Chance *= st.mean(to, further[i])
		if to != st.Target {
			p.Goals = append(p.Goals, Goal{st.Name, st.Target, to})
			words = append(words, fmt.Sprintf("%s: %s instead of %s", st.Name, to, st.Target))
		}
	}
	p.Enough = c.enough(p.Chance)
	p.Text = strings.Join(words, "; ") + ": " + p.leads()
	return p, len(p.Goals) > 0
}

// lowered returns the highest target whose parts have the chance that is asked, in steps, but not below the smallest goals.
func (st student) lowered(asked float64, further int) Target {
	t := st.Target
	if t.Percent > 0 {
		t.Percent = highest(t.Percent, leastPercent, percentStep, func(p int) bool {
			return meanOf(st.share, st.shareChance(Target{Percent: p, CheckTrials: t.CheckTrials}, further)) >= asked
		})
	}
	if t.HoldSeconds > 0 {
		t.HoldSeconds = highest(t.HoldSeconds, leastHold, holdStep, func(s int) bool {
			return meanOf(st.hold, st.holdChance(Target{HoldSeconds: s}, further)) >= asked
		})
	}
	return t
}

// highest returns the first of from, then the multiples of step below it, that will do, and otherwise the last of them that is
// not below least. A goal that is below least already stays. What will do for a goal will do for each smaller one, so halving finds it.
func highest(from, least, step int, will func(int) bool) int {
	steps := []int{from}
	for g := (from - 1) / step * step; g >= least; g -= step {
		steps = append(steps, g)
	}
	return steps[sort.Search(len(steps)-1, func(i int) bool { return will(steps[i]) })]
}

func (p Proposal) leads() string {
	if p.Enough {
		return fmt.Sprintf("the chance of meeting all targets would be %d %%", percent(p.Chance))
	}
	return fmt.Sprintf("the chance of meeting all targets would be %d %%, which is less than the site asks", percent(p.Chance))
}
