package daysheet

import (
	"fmt"
	"strings"

	"github.com/longlead/longlead/services/dayplan"
)

// The words here are those that text, table and page share.

const (
	contactsWithheld = "Names and telephone numbers of owners and veterinarians are left out: they take the permission to read records."
	staleWords       = "What the plan was made from has changed since: ask before you rely on it."
	lastWord         = "A veterinarian's word, law and the site's own rules go before this sheet. Stop when a dog or a person is not well. For a dog with a lower limit in heat a cool day is no proof of safety."
)

// stayWords says which day of its stay a dog has.
func (d Dog) stayWords() string {
	switch {
	case d.Run == "":
		return "not here"
	case d.DayOfStay == d.Days:
		return "graduates today"
	case d.DayOfStay == 1:
		return fmt.Sprintf("arrives today, graduates %s", d.Graduation)
	}
	return fmt.Sprintf("day %d of %d, graduates %s", d.DayOfStay, d.Days, d.Graduation)
}

// words is a contact on one line; empty for none.
func (c Contact) words() string { return strings.TrimSpace(c.Name + " " + c.Phone) }

// whatWords says what a line is, without the dog.
func (l Line) whatWords() string {
	switch l.Kind {
	case dayplan.KindSession:
		return "session" // its number says nothing of the order in time
	case dayplan.KindMeal:
		return "own meal"
	case dayplan.KindRest:
		return "short break"
	}
	return l.Kind
}

// skillWords is the skill with what is asked of it.
func (l Line) skillWords() string {
	switch {
	case l.SkillName == "":
		return ""
	case l.Target == "":
		return l.SkillName
	}
	return l.SkillName + ": " + l.Target
}

// whoWords is the trainer of a line on a sheet of a row.
func (l Line) whoWords() string {
	words := l.Trainer
	switch {
	case l.Trainer == "":
		return "nobody yet"
	case !l.Own:
		words += " (covers)"
	}
	if l.Second != "" {
		words += " and " + l.Second
	}
	return words
}

// partWords say what part somebody has in a line on their own sheet; empty for a dog's own trainer alone with it.
func (l Line) partWords(trainer string) string {
	switch {
	case l.Dog == "":
		return ""
	case l.Second == trainer:
		return " (second person, with " + l.Trainer + ")"
	case l.Second != "" && l.Own:
		return " (with " + l.Second + ")"
	case l.Second != "":
		return " (cover, with " + l.Second + ")"
	case !l.Own:
		return " (cover)"
	}
	return ""
}

// hours are those of the shift.
func (x TrainerSheet) hours() string {
	if x.Starts == "" {
		return "no shift here"
	}
	return x.Starts + " to " + x.Ends
}

// planWords says which plan the sheets are made from.
func (d *Day) planWords() string {
	return fmt.Sprintf("Made from plan %d of the day, of %s.", d.Number, d.MadeAt.UTC().Format("2006-01-02 15:04 UTC"))
}

// dateWords is the day with its weekday.
func (d *Day) dateWords() string { return d.Day.Weekday().String() + " " + d.Day.String() }
