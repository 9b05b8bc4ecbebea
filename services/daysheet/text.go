package daysheet

import (
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"

	"github.com/longlead/longlead/services/plaintable"
)

// Widths of columns in characters: a sheet fits a terminal of 120.
const (
	dogWidth, cautionWidth, contactWidth = 20, 66, 26
	whatWidth, placeWidth, skillWidth    = 32, 16, 44
	reasonWidth, remedyWidth             = 46, 38
	textWidth                            = 116
)

// writeText writes the sheets for a terminal.
func writeText(out io.Writer, d *Day) {
	for _, x := range d.Trainers {
		fmt.Fprintf(out, "%s, %s: %s, %s, %s (%s)\n", x.Code, x.Name, d.SiteName, d.dateWords(), x.hours(), d.Zone)
		d.textDogs(out, x.Dogs)
		t := plaintable.New(out, "from", "to", "what", "where", "skill and what is asked of it")
		for _, l := range x.Lines {
			t.AppendRow(table.Row{l.Starts, l.Ends, plaintable.Wrap(d.workWords(l)+l.partWords(x.Code), whatWidth), plaintable.Wrap(l.Area, placeWidth), plaintable.Wrap(l.skillWords(), skillWidth)})
		}
		t.Render()
		textDrops(out, x.Drops)
		d.textEnd(out)
	}
	for _, x := range d.Rows {
		fmt.Fprintf(out, "Row %s: %s, %s (%s)\n", x.Row, d.SiteName, d.dateWords(), d.Zone)
		d.textDogs(out, x.Dogs)
		t := plaintable.New(out, "from", "to", "what", "who", "where", "skill")
		for _, l := range x.Lines {
			t.AppendRow(table.Row{l.Starts, l.Ends, plaintable.Wrap(d.workWords(l), whatWidth), plaintable.Wrap(l.whoWords(), placeWidth), plaintable.Wrap(l.Area, placeWidth), plaintable.Wrap(l.SkillName, placeWidth)})
		}
		t.Render()
		textDrops(out, x.Drops)
		d.textEnd(out)
	}
}

// workWords says what a line is, with the dog and where it lives.
func (d *Day) workWords(l Line) string {
	if l.Dog == "" {
		return l.whatWords()
	}
	dog := d.dog(l.Dog)
	words := fmt.Sprintf("%s %s, %s", dog.Code, dog.Name, l.whatWords())
	if dog.Run != "" {
		words = dog.Run + "  " + words
	}
	return words
}

func (d *Day) textDogs(out io.Writer, codes []string) {
	fmt.Fprintln(out, "Before you touch a dog:")
	t := plaintable.New(out, "run and dog", "cautions", "whom to call")
	for _, code := range codes {
		dog := d.dog(code)
		var lines []string
		for _, c := range dog.Cautions {
			lines = append(lines, plaintable.Wrap(c.About+": "+c.Text, cautionWidth))
		}
		call := plaintable.Wrap("vet: "+orUnknown(dog.Vet.words()), contactWidth) + "\n" + plaintable.Wrap("owner: "+orUnknown(dog.Owner.words()), contactWidth)
		if d.Withheld {
			call = "left out"
		}
		who := plaintable.Wrap(strings.TrimSpace(dog.Run+"  "+dog.Code)+" "+dog.Name, dogWidth) + "\n" + plaintable.Wrap(dog.stayWords(), dogWidth)
		t.AppendRow(table.Row{who, strings.Join(lines, "\n"), call})
	}
	t.Render()
	fmt.Fprintln(out)
}

func orUnknown(words string) string {
	if words == "" {
		return "not on record"
	}
	return words
}

func textDrops(out io.Writer, drops []Drop) {
	if len(drops) == 0 {
		return
	}
	fmt.Fprintln(out, "\nNot held:")
	t := plaintable.New(out, "dog", "session", "skill", "why", "what would help")
	for _, x := range drops {
		t.AppendRow(table.Row{x.Dog, x.Session, plaintable.Wrap(x.SkillName, placeWidth), plaintable.Wrap(x.Reason, reasonWidth), plaintable.Wrap(x.Remedy, remedyWidth)})
	}
	t.Render()
}

// textEnd writes what stands under every sheet.
func (d *Day) textEnd(out io.Writer) {
	fmt.Fprintln(out)
	for _, words := range d.footWords() {
		fmt.Fprintln(out, plaintable.Wrap(words, textWidth))
	}
	fmt.Fprintln(out)
}

// footWords are what stands under every sheet.
func (d *Day) footWords() []string {
	words := append([]string(nil), d.Notes...)
	if d.Withheld {
		words = append(words, contactsWithheld)
	}
	words = append(words, lastWord, d.planWords())
	if d.Stale {
		words = append(words, staleWords)
	}
	return words
}
