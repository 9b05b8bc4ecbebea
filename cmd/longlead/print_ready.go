package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"unicode"
	"unicode/utf8"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"github.com/longlead/longlead/services/training"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

var flagWords = map[readinessv1.Flag]string{
	readinessv1.Flag_FLAG_AT_RISK: "at risk", readinessv1.Flag_FLAG_TOO_FEW_DATA: "too few data",
	readinessv1.Flag_FLAG_NO_TARGETS: "no targets", readinessv1.Flag_FLAG_ON_COURSE: "on course",
}

func writeJSON(out io.Writer, v any) error {
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

func wholePercent(p float64) int { return int(math.Round(100 * p)) }

// chanceWords writes a chance with its interval.
func chanceWords(c *readinessv1.Chance) string {
	if c == nil {
		return ""
	}
	if c.GetMean() > 0 && wholePercent(c.GetMean()) == 0 {
		return fmt.Sprintf("under 1 %% (%d to %d)", wholePercent(c.GetLow()), wholePercent(c.GetHigh()))
	}
	return fmt.Sprintf("%d %% (%d to %d)", wholePercent(c.GetMean()), wholePercent(c.GetLow()), wholePercent(c.GetHigh()))
}

// weakest is the skill with the lowest chance; nil where none is asked for.
func weakest(r *readinessv1.Readiness) *readinessv1.Skill {
	var least *readinessv1.Skill
	for _, s := range r.GetSkills() {
		if s.GetTarget() != nil && (least == nil || s.GetBoth().GetMean() < least.GetBoth().GetMean()) {
			least = s
		}
	}
	return least
}

// printReadyList writes one line for each dog, those at risk first.
func printReadyList(out io.Writer, o *Options, c *readyShowCmd, list *readinessv1.ListReadinessResponse) {
	where := c.Site
	if where == "" {
		where = "All sites"
	}
	fmt.Fprintf(out, "%s, %s: %d at risk, %d with too few data, %d without targets, %d on course\n", where, c.Date,
		list.GetAtRisk(), list.GetTooFewData(), list.GetNoTargets(), list.GetOnCourse())
	if len(list.GetDogs()) == 0 {
		fmt.Fprintln(out, "No dog is there on this day.")
		return
	}
	t := newTable(out, "", "dog", "site", "program", "trainer", "graduates", "left", "met", "all targets", "weakest skill")
	for _, r := range list.GetDogs() {
		weak, met := "", ""
		if s := weakest(r); s != nil {
			weak, met = fmt.Sprintf("%s %d %%", s.GetCode(), wholePercent(s.GetBoth().GetMean())), fmt.Sprintf("%.1f/%d", r.GetTargetsExpected(), r.GetTargets())
		}
		t.AppendRow(table.Row{flagWords[r.GetFlag()], r.GetDogCode() + " " + text.Trim(r.GetDogName(), 10), r.GetSiteCode(), r.GetProgramCode(), r.GetTrainerCode(),
			r.GetGraduation(), r.GetSessionsLeft(), met, chanceWords(r.GetAll()), weak})
	}
	t.Render()
	printSentence(out, "%s", "\"left\" counts sessions until graduation by program and roster, \"met\" the targets met on average. Chances have 95 % intervals.")
	fmt.Fprintf(out, "One dog, with reasons and what could be done: %s\n", o.command("ready DOG --date "+c.Date))
	printSentence(out, "%s", list.GetCaution())
}

// printReadyDog writes all that is known of a dog.
func printReadyDog(out io.Writer, o *Options, day string, got *readinessv1.GetReadinessResponse) {
	r := got.GetReadiness()
	fmt.Fprintf(out, "%s %s (%s) on %s: %s\n", r.GetDogCode(), r.GetDogName(), r.GetRequestCode(), day, flagWords[r.GetFlag()])
	fmt.Fprintf(out, "%s with %s at %s, %s to %s: %d sessions logged, %d to come on %d training days and beside them\n", r.GetProgramCode(), r.GetTrainerCode(), r.GetSiteCode(),
		r.GetArrival(), r.GetGraduation(), r.GetSessions(), r.GetSessionsLeft(), r.GetDaysLeft())
	if r.GetAll() != nil {
		fmt.Fprintf(out, "Chance of meeting all targets: %s, at most %d %%; %.1f of %d targets are met on average\n", chanceWords(r.GetAll()), wholePercent(r.GetAtMost()),
			r.GetTargetsExpected(), r.GetTargets())
	}
	if len(r.GetSkills()) > 0 {
		fmt.Fprintln(out)
		t := newTable(out, "skill", "asked", "passed", "95 %", "as asked", "hold", "reached", "to come", "chance")
		for _, s := range r.GetSkills() {
			t.AppendRow(skillRow(s))
		}
		t.Render()
	}
	section(out, "Why:", r.GetReasons())
	section(out, "Mind:", r.GetWarnings())
	var could []string
	for _, p := range r.GetProposals() {
		line := p.GetText()
		if p.GetGraduation() != "" {
			line += fmt.Sprintf("; by %s's roster that is graduation on %s: %s shows what it touches", r.GetTrainerCode(), p.GetGraduation(),
				o.command("mend extend "+r.GetDogCode()+" --to "+p.GetGraduation()))
		}
		could = append(could, line)
	}
	section(out, "What could be done; the manager chooses:", could)
	if m := r.GetMinutes(); m != nil {
		section(out, "Handling minutes:", []string{m.GetText()})
	}
	fmt.Fprintln(out)
	printSentence(out, "%s", got.GetCaution())
	printSentence(out, "%s", got.GetAssumes())
	if !r.GetPaceSet() && r.GetAll() != nil {
		printSentence(out, "What is typical of %s is the built-in default, which is invented: longlead ready pace %s measures it from your logs.", r.GetProgramCode(), r.GetProgramCode())
	}
}

func skillRow(s *readinessv1.Skill) table.Row {
	share := ""
	if s.GetAll().GetTrials() > 0 {
		share = fmt.Sprintf("%d to %d", s.GetAll().GetLowPercent(), s.GetAll().GetHighPercent())
	}
	level, come := "", ""
	if l := s.GetAtLevel(); l != nil {
		level = fmt.Sprintf("%d/%d", l.GetSuccesses(), l.GetTrials())
	}
	asked := "not asked for"
	if target := s.GetTarget(); target != nil {
		asked, come = askedWords(target), fmt.Sprint(s.GetFurther())
	}
	hold := holdWords(s.GetLongestHoldSeconds())
	if s.GetHoldPercent() > 0 {
		hold += fmt.Sprintf("\n%d %% of it", s.GetHoldPercent())
	}
	reached := ""
	if s.Distraction != nil {
		reached = levelWords(training.DistractionNames, s.GetDistraction())
		if s.GetDistanceCm() > 0 {
			reached += "\n" + distanceWords(s.GetDistanceCm())
		}
	}
	return table.Row{s.GetCode(), asked, fmt.Sprintf("%d/%d", s.GetAll().GetSuccesses(), s.GetAll().GetTrials()), share, level, hold, reached, come, chanceWords(s.GetBoth())}
}

// askedWords says what is asked, over two lines.
func askedWords(t *readinessv1.Target) string {
	first := fmt.Sprintf("%d %%", t.GetTrialsPercent())
	if t.GetHoldSeconds() > 0 {
		first += ", " + holdWords(t.GetHoldSeconds())
	}
	second := levelWords(training.DistractionNames, t.GetDistraction())
	if t.GetDistanceCm() > 0 {
		second += ", " + distanceWords(t.GetDistanceCm())
	}
	return first + "\n" + second
}

func section(out io.Writer, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintln(out, "\n"+title)
	for _, line := range lines {
		printSentence(out, "- %s", upperFirst(line))
	}
}

func upperFirst(line string) string {
	first, size := utf8.DecodeRuneInString(line)
	return string(unicode.ToUpper(first)) + line[size:]
}

// printPace writes a measured pace beside the one in use.
func printPace(out io.Writer, c *readyPaceCmd, got *readinessv1.MeasurePaceResponse) {
	fmt.Fprintf(out, "%s: %d dogs, %d learning curves, %d sessions in the year up to %s\n", c.Program, got.GetDogs(), got.GetCurves(), got.GetSessions(), c.Date)
	m, u := got.GetMeasured(), got.GetInUse().GetPace()
	t := newTable(out, "", "measured", "spread", "in use", "spread")
	for _, row := range []struct {
		name             string
		m, mSpread       float64
		u, uSpread       float64
		factor, decimals int
		unit             string
	}{
		{"passed in the first session", m.GetStart(), m.GetStartSpread(), u.GetStart(), u.GetStartSpread(), 100, 0, " %"},
		{"of what is missing, closed by a session", m.GetTheta(), m.GetThetaSpread(), u.GetTheta(), u.GetThetaSpread(), 100, 1, " %"},
		{"longest hold in the first session", m.GetHoldStart(), m.GetHoldStartSpread(), u.GetHoldStart(), u.GetHoldStartSpread(), 1, 0, " s"},
		{"growth of the longest hold by a session", 100 * math.Expm1(m.GetHoldGrowth()), m.GetHoldGrowthSpread(), 100 * math.Expm1(u.GetHoldGrowth()), u.GetHoldGrowthSpread(), 1, 0, " %"},
	} {
		value := func(x float64) string { return fmt.Sprintf("%.*f%s", row.decimals, x*float64(row.factor), row.unit) }
		t.AppendRow(table.Row{row.name, value(row.m), fmt.Sprintf("%.2f", row.mSpread), value(row.u), fmt.Sprintf("%.2f", row.uSpread)})
	}
	t.Render()
	section(out, "Mind:", got.GetWarnings())
	switch by := got.GetInUse().GetSetBy(); {
	case c.Keep:
		printSentence(out, "The measured pace is in use from now on: %s. What was in use before is kept in the history.", got.GetInUse().GetNote())
	case by == "":
		fmt.Fprintln(out, "In use is the built-in default, which is invented. Nothing was changed; --keep uses the measured pace from now on.")
	default:
		printSentence(out, "In use is what %s set on %s: %s. Nothing was changed; --keep uses the measured pace from now on.", by,
			got.GetInUse().GetSetAt().AsTime().Format("2006-01-02"), got.GetInUse().GetNote())
	}
}
