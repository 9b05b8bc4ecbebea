package enrollment

import (
	"fmt"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/workload"
)

// SeasonDays is how long a female is taken to be in season from its first day: about 21 days (general veterinary
// summaries). Schools do not take a dog in then: common practice, no source. A veterinarian can say for the one dog.
const SeasonDays = 21

// mostAgeMonths is the highest age that package workload accepts; no dog is older.
const mostAgeMonths = 360

// AgeMonths returns the completed months of the dog's life on a day; 0 before the end of the first one.
func (d Dog) AgeMonths(on calendar.Date) int {
	if d.Born.IsZero() || on.Before(d.Born) {
		return 0
	}
	bornYear, bornMonth, _ := d.Born.Parts()
	year, month, _ := on.Parts()
	months := (year-bornYear)*12 + int(month) - int(bornMonth)
	if d.Born.AddMonths(months).After(on) {
		months--
	}
	return months
}

// InSeason reports whether the dog is a female whose season, SeasonDays from SeasonStarted, shares a day with stay.
func (d Dog) InSeason(stay calendar.Span) bool {
	if d.Sex != Female || d.SeasonStarted.IsZero() {
		return false
	}
	season := calendar.Span{From: d.SeasonStarted, To: d.SeasonStarted.AddDays(SeasonDays)}
	return season.Overlaps(stay)
}

// AgeMonths returns the completed months of the dog's life on a day.
func (c Case) AgeMonths(on calendar.Date) int { return c.Dog.AgeMonths(on) }

// InSeason reports whether the dog would be in season on a day of the stay.
func (c Case) InSeason(stay calendar.Span) bool { return c.Dog.InSeason(stay) }

// OldEnough reports whether the dog has reached the least age of its program on a day.
func (c Case) OldEnough(on calendar.Date) bool {
	return c.Dog.AgeMonths(on) >= c.Program.LeastAgeMonths
}

// Stay returns the nights of the program from an arrival day; its To is the graduation day.
func (c Case) Stay(arrival calendar.Date) calendar.Span {
	return calendar.Span{From: arrival, To: arrival.AddDays(c.Program.Nights)}
}

// Need works out what the dog takes when it arrives on a day, with the latest word of a person. An error means that the
// stored record holds a value that no check lets in.
//
// Need.CoverMinutes, what the dog takes on its trainer's day off, is the care and one session block: our own setting, no
// source.
func (c Case) Need(on calendar.Date) (workload.Need, error) {
	return c.NeedObserved(on, workload.Observed{})
}

// NeedObserved is Need with the pace that training logs show, which Need leaves out: the pace of a dog in training changes with every
// session, and what was promised by its minutes would change with it. A person who wants it counted gives an Override.
func (c Case) NeedObserved(on calendar.Date, observed workload.Observed) (workload.Need, error) {
	need, err := workload.Estimate(workload.Input{
		// A dog in its first month has 0 completed months, which there means that the age is unknown.
		AgeMonths:      min(max(c.Dog.AgeMonths(on), 1), mostAgeMonths),
		WeightGrams:    c.Dog.WeightG,
		BreedTier:      c.Dog.BreedTier,
		Hound:          c.Dog.Hound,
		Goals:          c.Program.Goals,
		SessionsPerDay: c.Program.SessionsADay,
		SessionMinutes: c.Program.SessionMinutes,
		Answers:        c.Answers,
		BiteLevel:      c.Dog.BiteLevel,
		Observed:       observed,
		Override:       c.Override.word(),
	})
	if err != nil {
		return workload.Need{}, fmt.Errorf("work out what request %s takes: %w", c.Request.Code, err)
	}
	return need, nil
}

// word turns the stored word into that of package workload; nil when there is none.
func (o *Override) word() *workload.Override {
	if o == nil {
		return nil
	}
	return &workload.Override{Minutes: o.Minutes, Care: o.Care, Reason: o.Reason}
}

// cautions says what about the dog itself stands against the earliest stay of its window.
func (c Case) cautions() []string {
	stay := c.Stay(c.Request.Window.From)
	var out []string
	if !c.OldEnough(stay.From) {
		out = append(out, fmt.Sprintf("The dog is %d months old on %s and the program asks for %d.", c.AgeMonths(stay.From), stay.From, c.Program.LeastAgeMonths))
	}
	if c.InSeason(stay) {
		out = append(out, fmt.Sprintf("The dog is in season until about %s, %d days from its first day (general veterinary summaries; "+
			"ask her veterinarian). Schools do not take a dog in then.", c.Dog.SeasonStarted.AddDays(SeasonDays-1), SeasonDays))
	}
	return out
}
