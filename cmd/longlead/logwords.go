package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"github.com/longlead/longlead/services/training"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// scoreArg is how many trials were passed, written 8/10.
type scoreArg struct{ passed, trials int32 }

// UnmarshalText reads a score. The server knows the limits; here is only what no score can be.
func (s *scoreArg) UnmarshalText(written []byte) error {
	passed, trials, ok := strings.Cut(string(written), "/")
	p, pok := digits(passed)
	n, nok := digits(trials)
	if !ok || !pok || !nok {
		return fmt.Errorf("%q is no score: write trials passed and all trials, such as 8/10", written)
	}
	if p > n {
		return fmt.Errorf("%q has more trials passed than made: write trials passed first, such as 8/10", written)
	}
	s.passed, s.trials = p, n
	return nil
}

// digits reads a whole number of one to four digits and nothing else.
func digits(written string) (int32, bool) {
	if len(written) < 1 || len(written) > 4 || strings.Trim(written, "0123456789") != "" {
		return 0, false
	}
	n, err := strconv.ParseInt(written, 10, 32)
	return int32(n), err == nil
}

// holdArg is seconds.
type holdArg int32

// UnmarshalText reads seconds, or a duration such as 1m30s.
func (h *holdArg) UnmarshalText(written []byte) error {
	if n, ok := digits(string(written)); ok {
		*h = holdArg(n)
		return nil
	}
	d, err := time.ParseDuration(string(written))
	if err != nil || d < 0 || d%time.Second != 0 || d > 24*time.Hour {
		return fmt.Errorf("%q is no time to hold: write whole seconds, or such as 1m30s", written)
	}
	*h = holdArg(d / time.Second)
	return nil
}

// distanceArg is centimetres.
type distanceArg int32

// cmPerFoot is the international foot, 30.48 cm exactly.
const cmPerFoot = 30.48

// UnmarshalText reads feet, or a number with ft, m or cm, rounded to the centimetre.
func (d *distanceArg) UnmarshalText(written []byte) error {
	number, unit := strings.TrimSpace(string(written)), cmPerFoot
	for _, u := range []struct {
		name string
		cm   float64
	}{{"ft", cmPerFoot}, {"cm", 1}, {"m", 100}} {
		if rest, ok := strings.CutSuffix(number, u.name); ok {
			number, unit = strings.TrimSpace(rest), u.cm
			break
		}
	}
	n, err := strconv.ParseFloat(number, 64)
	if cm := math.Round(n * unit); err == nil && strings.Trim(number, "0123456789.") == "" && cm <= 1e6 {
		*d = distanceArg(cm)
		return nil
	}
	return fmt.Errorf("%q is no distance: write feet, or such as 6ft, 2m or 150cm", written)
}

// levelArg is one of the levels 0 to 3.
type levelArg int32

// UnmarshalText reads a level.
func (l *levelArg) UnmarshalText(written []byte) error {
	n, ok := digits(string(written))
	if !ok || n > 3 {
		return fmt.Errorf("%q is no level: write 0, 1, 2 or 3", written)
	}
	*l = levelArg(n)
	return nil
}

// value is the level for a message, absent when there is none.
func (l *levelArg) value() *int32 {
	if l == nil {
		return nil
	}
	n := int32(*l)
	return &n
}

// clockOff is the difference of clocks from which people are told.
const clockOff = 5 * time.Minute

func printLogged(out io.Writer, o *Options, done string, s *trainingv1.Session) {
	fmt.Fprintf(out, "%s: %s with %s on %s, %s %s.\n", done, s.GetDogCode(), s.GetTrainerCode(), s.GetDay(), s.GetSkillCode(), strings.Join(sessionWords(s), ", "))
	fmt.Fprintf(out, "Correct it, if need be: %s\n", o.command("log correct "+s.GetId()+" SCORE"))
	if ahead := time.Duration(s.GetAheadSeconds()) * time.Second; ahead > clockOff {
		fmt.Fprintf(out, "The session lies %s ahead of the server's clock. Both times are kept; look at the clock of this device.\n", ahead)
	}
}

// sessionWords says what was logged, leaving out what was not measured.
func sessionWords(s *trainingv1.Session) []string {
	words := []string{scoreWords(s)}
	if s.GetHoldSeconds() > 0 {
		words = append(words, "hold "+holdWords(s.GetHoldSeconds()))
	}
	if s.GetDistanceCm() > 0 {
		words = append(words, distanceWords(s.GetDistanceCm())+" away")
	}
	words = append(words, levelWords(training.DistractionNames, s.GetDistraction()))
	if s.Settled != nil {
		words = append(words, levelWords(training.SettledNames, s.GetSettled())+" settled")
	}
	return words
}

func scoreWords(s *trainingv1.Session) string {
	return fmt.Sprintf("%d/%d", s.GetSuccesses(), s.GetTrials())
}

// holdWords writes seconds as 45 s or 1:30 min.
func holdWords(seconds int32) string {
	switch {
	case seconds == 0:
		return ""
	case seconds < 60:
		return fmt.Sprintf("%d s", seconds)
	}
	return fmt.Sprintf("%d:%02d min", seconds/60, seconds%60)
}

// distanceWords writes centimetres as feet, to the tenth.
func distanceWords(cm int32) string {
	if cm == 0 {
		return ""
	}
	return strconv.FormatFloat(math.Round(float64(cm)/cmPerFoot*10)/10, 'f', -1, 64) + " ft"
}

func levelWords(names []string, level int32) string {
	if level < 0 || int(level) >= len(names) {
		return strconv.Itoa(int(level)) // a newer server may know more
	}
	return names[level]
}

func printSessions(out io.Writer, o *Options, dog string, sessions []*trainingv1.Session) {
	if len(sessions) == 0 {
		fmt.Fprintf(out, "No session of %s is logged on these days. This logs one: %s\n", dog, o.command("log "+dog+" SKILL 8/10"))
		return
	}
	t := newTable(out, "day", "skill", "passed", "hold", "away", "around", "settled", "trainer", "session")
	for _, s := range sessions {
		settled := ""
		if s.Settled != nil {
			settled = levelWords(training.SettledNames, s.GetSettled())
		}
		t.AppendRow(table.Row{s.GetDay(), s.GetSkillCode(), scoreWords(s), holdWords(s.GetHoldSeconds()), distanceWords(s.GetDistanceCm()),
			levelWords(training.DistractionNames, s.GetDistraction()), settled, s.GetTrainerCode(), s.GetId()})
	}
	t.Render()
	for _, s := range sessions {
		if s.GetReplacedById() != "" {
			fmt.Fprintf(out, " - %s does not count: corrected by %s\n", s.GetId(), s.GetReplacedById())
		}
		if s.GetNote() != "" {
			fmt.Fprintf(out, " - %s %s: %s\n", s.GetDay(), s.GetSkillCode(), s.GetNote())
		}
	}
}

func printSkills(out io.Writer, program string, skills []*trainingv1.Skill) {
	if len(skills) == 0 {
		fmt.Fprintln(out, "There is no skill yet: import the school's skills and targets. `longlead template skills` writes an empty file.")
		return
	}
	headings := []any{"skill", "name", "with the dog's name", "how"}
	if program != "" {
		headings = slices.Insert(headings, 2, any(program+" asks"))
	}
	t := newTable(out, headings...)
	for _, s := range skills {
		row := table.Row{s.GetCode(), text.WrapSoft(s.GetName(), 22), yesWords(s.GetWithName()), text.WrapSoft(s.GetAbout(), 40)}
		if program != "" {
			row = slices.Insert(row, 2, any(targetWords(s.GetTarget())))
		}
		t.AppendRow(row)
	}
	t.Render()
}

func yesWords(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

// targetWords says what a program asks, over several lines.
func targetWords(t *trainingv1.Target) string {
	if t == nil {
		return "nothing"
	}
	words := []string{fmt.Sprintf("%d %% of trials", t.GetTrialsPercent())}
	if t.GetHoldSeconds() > 0 {
		words = append(words, "hold "+holdWords(t.GetHoldSeconds()))
	}
	if t.GetDistanceCm() > 0 {
		words = append(words, distanceWords(t.GetDistanceCm())+" away")
	}
	return strings.Join(append(words, levelWords(training.DistractionNames, t.GetDistraction())), "\n")
}
