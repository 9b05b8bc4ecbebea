package daysheet

import (
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/workload"
)

// What a caution is about, in the order in which they are shown.
const (
	AboutAbsent   = "not here"
	AboutIsolated = "isolated"
	AboutWatch    = "watch"
	AboutCare     = "care"
	AboutTwo      = "two people"
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

// cautions says what to know of a dog on the day. handlers are the trainers at work who may handle it, of atWork who handle dogs.
func (s *snapshot) cautions(g *dayplan.Guest, need workload.Need, handlers []string, atWork int) ([]Caution, error) {
	up, day := s.upkeep[g.Case.Dog.ID], s.Inputs.Day
	var out []Caution
	add := func(about, format string, args ...any) {
		out = append(out, Caution{about, fmt.Sprintf(format, args...)})
	}
	dog := &g.Case.Dog
	if g.Isolated != "" {
		add(AboutIsolated, "in run %s. Who goes to it, in what order and in what clothes a veterinarian says; it has no sessions and meets no other dog", g.Isolated)
	}
	for _, w := range s.watched[g.Stay.RequestID] {
		add(AboutWatch, "until %s, since it was near a dog that was isolated (%s); tell the site lead of any cough, discharge, tiredness or lost appetite",
			w.Days.To.AddDays(-1), strings.Join(w.Because, "; "))
	}
	add(AboutCare, "%s", careWords(need.Care, handlers, atWork))
	if text := twoWords(g.Traits.TwoPeople, need.Care); text != "" {
		add(AboutTwo, "%s", text)
	}
	if text := biteWords(dog.BiteLevel, up.Bites); text != "" {
		add(AboutBite, "%s", text)
	}
	for _, text := range s.apartWords(dog.ID) {
		add(AboutApart, "%s", text)
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
	heat, err := s.heatWords(g)
	if err != nil {
		return nil, err
	}
	if heat != "" {
		add(AboutHeat, "%s", heat)
	}
	for _, c := range need.Cautions {
		if !strings.HasPrefix(c, biteLead) {
			add(AboutAsk, "%s", c)
		}
	}
	if dog.Note != "" {
		add(AboutNote, "%s", dog.Note)
	}
	return out, nil
}

// twoWords say whether two people must be with a dog. For a restricted dog it is asked for where nobody recorded it.
func twoWords(two workload.Trait, care workload.Care) string {
	switch {
	case two == workload.Yes:
		return "nobody begins before both are there"
	case two == workload.NotRecorded && care == workload.Restricted:
		return "nobody recorded whether it needs two: ask before you begin"
	}
	return ""
}

// apartWords name the dogs here that a dog must not meet.
func (s *snapshot) apartWords(dog ids.DogID) (out []string) {
	for _, p := range s.Inputs.Apart {
		other := p.OtherID
		switch dog {
		case p.DogID:
		case p.OtherID:
			other = p.DogID
		default:
			continue
		}
		text := s.dogs[other].Code + " " + s.dogs[other].Name
		for _, g := range s.Inputs.Guests {
			if g.Case.Dog.ID == other {
				text += ", run " + s.runOf(&g).Code
			}
		}
		if p.Reason != "" {
			text += " (" + p.Reason + ")"
		}
		out = append(out, text)
	}
	return out
}

// heatWords say why a dog has the lower limit for work outdoors; empty for one that has not.
func (s *snapshot) heatWords(g *dayplan.Guest) (string, error) {
	// A dog in its first month has 0 completed months, which there means that the age is unknown.
	dog := workload.HeatDog{AgeMonths: max(1, g.Case.Dog.AgeMonths(s.Inputs.Day)), WeightGrams: g.Case.Dog.WeightG, FlatFaced: g.Traits.FlatFaced, Overweight: g.Traits.Overweight}
	why := dog.SensitiveTo()
	if len(why) == 0 {
		return "", nil
	}
	// The limit does not depend on the weather.
	answer, err := workload.OutdoorWork(dog, workload.HeatTargetF, 0, s.Inputs.Site.HeatLimits())
	if err != nil {
		return "", fmt.Errorf("find the heat limit of dog %s: %w", g.Case.Dog.Code, err)
	}
	return fmt.Sprintf("lower limit for work outdoors, heat index %d F: %s", answer.LimitF, strings.Join(why, ", ")), nil
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
