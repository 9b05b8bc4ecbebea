package dogs

import (
	"fmt"
	"strings"
	"time"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// Measures of a skill's picture, in its own units.
const (
	wide, high = 480, 120
	left, foot = 34, 20
)

// rung is one skill with its target and its sessions drawn over the days of the stay.
type rung struct {
	*readinessv1.Skill
	Asked  string
	Dots   []dot
	Target int
	// Now is where today lies; negative outside of the stay.
	Now         int
	From, To    string
	Chance      string
	Warned      bool
	Label       string
	Wide, High  int
	Left, Right int
	Top, Bottom int
}

// dot is a session: Full when it was at the distance and distraction that are asked for, or harder.
type dot struct {
	X, Y int
	Full bool
}

func rungOf(s *readinessv1.Skill, r *readinessv1.Readiness, sessions []*trainingv1.Session, today string) rung {
	out := rung{Skill: s, Asked: asked(s.GetTarget()), From: r.GetArrival(), To: r.GetGraduation(), Wide: wide, High: high, Left: left, Right: wide - 6, Top: 8, Bottom: high - foot}
	out.Target, out.Now = out.y(s.GetTarget().GetTrialsPercent()), -1
	if today >= r.GetArrival() && today <= r.GetGraduation() {
		out.Now = out.x(today)
	}
	for _, one := range sessions {
		if one.GetSkillCode() != s.GetCode() || one.GetDay() < r.GetArrival() || one.GetDay() > r.GetGraduation() || one.GetTrials() == 0 {
			continue
		}
		out.Dots = append(out.Dots, dot{X: out.x(one.GetDay()), Y: out.y(100 * one.GetSuccesses() / one.GetTrials()),
			Full: one.GetDistanceCm() >= s.GetTarget().GetDistanceCm() && one.GetDistraction() >= s.GetTarget().GetDistraction()})
	}
	if both := s.GetBoth(); both != nil {
		out.Chance = interval(both)
	}
	out.Label = fmt.Sprintf("%s: %d sessions from %s to %s, trials passed in percent; asked for are %d", s.GetName(), len(out.Dots), out.From, out.To, s.GetTarget().GetTrialsPercent())
	return out
}

// y is the height of a percentage.
func (r rung) y(percent int32) int {
	return r.Bottom - int(percent)*(r.Bottom-r.Top)/100
}

// x is the place of a day between arrival and graduation.
func (r rung) x(day string) int {
	from, to := days(r.From), days(r.To)
	if to <= from {
		return r.Left
	}
	return r.Left + 6 + (days(day)-from)*(r.Right-r.Left-12)/(to-from)
}

// days counts days from 1970 on, of a civil date.
func days(text string) int {
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return 0
	}
	return int(d.Unix() / 86400)
}

// asked is a target in words.
func asked(t *readinessv1.Target) string {
	if t == nil {
		return ""
	}
	parts := []string{}
	if t.GetTrialsPercent() > 0 {
		parts = append(parts, fmt.Sprintf("%d %% of trials", t.GetTrialsPercent()))
	}
	if t.GetHoldSeconds() > 0 {
		parts = append(parts, fmt.Sprintf("a hold of %d s", t.GetHoldSeconds()))
	}
	if t.GetDistanceCm() > 0 {
		parts = append(parts, "at "+metres(t.GetDistanceCm()))
	}
	return strings.Join(append(parts, distraction(t.GetDistraction())), ", ")
}

func metres(cm int32) string {
	if cm%100 == 0 {
		return fmt.Sprintf("%d m", cm/100)
	}
	return fmt.Sprintf("%.1f m", float64(cm)/100)
}

// distraction is a level in a word.
func distraction(level int32) string {
	words := []string{"in quiet", "with mild distraction", "with lively distraction", "in a busy place"}
	if level < 0 || int(level) >= len(words) {
		return fmt.Sprintf("at distraction %d", level)
	}
	return words[level]
}

// interval is a chance with its bounds, in percent.
func interval(c *readinessv1.Chance) string {
	return fmt.Sprintf("%.0f %% (%.0f to %.0f)", 100*c.GetMean(), 100*c.GetLow(), 100*c.GetHigh())
}

// bar is a chance drawn with its interval, 300 units wide.
type bar struct {
	Low, Mean, High int
	Span            int
	Words           string
}

func barOf(c *readinessv1.Chance) *bar {
	b := &bar{Low: int(300 * c.GetLow()), Mean: int(300 * c.GetMean()), High: int(300 * c.GetHigh()), Words: interval(c)}
	b.Span = max(b.High-b.Low, 2)
	return b
}

// session is one session as the page lists it.
type session struct {
	*trainingv1.Session
	Skill, Where, Calm string
}

func sessionOf(s *trainingv1.Session, names map[string]string) session {
	out := session{Session: s, Skill: names[s.GetSkillCode()], Where: distraction(s.GetDistraction())}
	if out.Skill == "" {
		out.Skill = s.GetSkillCode()
	}
	if s.GetDistanceCm() > 0 {
		out.Where = metres(s.GetDistanceCm()) + ", " + out.Where
	}
	if s.Settled != nil {
		out.Calm = []string{"not settled", "a little settled", "mostly settled", "calm"}[min(max(s.GetSettled(), 0), 3)]
	}
	return out
}
