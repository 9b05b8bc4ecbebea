package daysheet

import (
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/workload"
)

// What a caution is about, in the order in which they are shown.
const (
	AboutAbsent   = "not here"
	AboutCare     = "care"
	AboutBite     = "bite"
	AboutApart    = "keep apart"
	AboutMedicine = "medicine"
	AboutMeals    = "meals"
	AboutSeason   = "in season"
	AboutHeat     = "heat"
	AboutAsk      = "know"
	AboutNote     = "note"
)

// biteLead begins the caution about a bite that package workload writes. The sheet has words of its own for it, with the day.
const biteLead = "Bite level "

// cautions says what to know of a dog on a day. handlers are the trainers at work who may handle it, of atWork who handle dogs.
func cautions(g *dayplan.Guest, up enrollment.Upkeep, need workload.Need, day calendar.Date, handlers []string, atWork int) []Caution {
	var out []Caution
	add := func(about, format string, args ...any) {
		out = append(out, Caution{about, fmt.Sprintf(format, args...)})
	}
	dog := &g.Case.Dog
	add(AboutCare, "%s", careWords(need.Care, handlers, atWork))
	if text := biteWords(dog.BiteLevel, up.Bites); text != "" {
		add(AboutBite, "%s", text)
	}
	for _, m := range up.Medicines {
		if m.On(day) {
			add(AboutMedicine, "%s", medicineWords(m))
		}
	}
	add(AboutMeals, "%s", mealWords(up.Feeding))
	if dog.InSeason(calendar.Span{From: day, To: day.AddDays(1)}) {
		add(AboutSeason, "until about %s; away from entire males, and her own cleaning things", dog.SeasonStarted.AddDays(enrollment.SeasonDays-1))
	}
	if why := heatDog(dog, day).SensitiveTo(); len(why) > 0 {
		add(AboutHeat, "lower limit for work outdoors: %s", strings.Join(why, ", "))
	}
	for _, c := range need.Cautions {
		if !strings.HasPrefix(c, biteLead) {
			add(AboutAsk, "%s", c)
		}
	}
	if dog.Note != "" {
		add(AboutNote, "%s", dog.Note)
	}
	return out
}

func careWords(care workload.Care, handlers []string, atWork int) string {
	switch {
	case len(handlers) == 0:
		return fmt.Sprintf("%s; nobody at work today may handle it", care)
	case len(handlers) == atWork && care == workload.Open:
		return fmt.Sprintf("%s; everybody at work may handle it", care)
	}
	return fmt.Sprintf("%s; only %s may handle it", care, strings.Join(handlers, ", "))
}

// biteWords are about the worst level on record, with the days that are known. Bites of days after the sheet's count as well.
func biteWords(worst string, bites []enrollment.Bite) string {
	levels := workload.Bites()
	rank := func(level string) int {
		return slices.IndexFunc(levels, func(b workload.BiteLevel) bool { return b.Level == level })
	}
	for _, b := range bites {
		if rank(b.Level) > rank(worst) {
			worst = b.Level
		}
	}
	at := rank(worst)
	if at < 0 {
		return ""
	}
	var known []string
	dated := false
	for _, b := range bites {
		text := fmt.Sprintf("level %s on %s", b.Level, b.Day)
		if b.Note != "" {
			text += " (" + b.Note + ")"
		}
		known = append(known, text)
		dated = dated || b.Level == worst
	}
	if !dated {
		known = slices.Insert(known, 0, fmt.Sprintf("level %s, day not on record", worst))
	}
	text := fmt.Sprintf("%s; worst: %s. One experienced handler takes it out of its run", strings.Join(known, "; "), levels[at].Wound)
	if levels[at].Review {
		text += ". A person must have decided on this dog, with a qualified behaviour professional"
	}
	return text
}

func medicineWords(m enrollment.Medicine) string {
	text := fmt.Sprintf("%s: %s, %s", strings.Join(m.Times, " and "), m.Medicine, m.Dose)
	if m.WithFood {
		text += ", with food"
	}
	if m.LastDay.IsZero() {
		text += "; until further notice"
	} else {
		text += fmt.Sprintf("; until %s", m.LastDay)
	}
	if m.Note != "" {
		text += "; " + m.Note
	}
	return text
}

func mealWords(note string) string {
	var times []string
	for _, c := range dayplan.DogMeals() {
		times = append(times, c.String())
	}
	text := strings.Join(times, " and ")
	if note != "" {
		text += "; " + note
	}
	return text
}

// heatDog is what heat asks of a dog.
func heatDog(d *enrollment.Dog, day calendar.Date) workload.HeatDog {
	// A dog in its first month has 0 completed months, which there means that the age is unknown.
	return workload.HeatDog{AgeMonths: max(1, d.AgeMonths(day)), WeightGrams: d.WeightG}
}
