package daysheet

import (
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
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
		t := newTable(out, "from", "to", "what", "where", "skill and what is asked of it")
		for _, l := range x.Lines {
			t.AppendRow(table.Row{l.Starts, l.Ends, wrap(d.workWords(l)+l.partWords(x.Code), whatWidth), wrap(l.Area, placeWidth), wrap(l.skillWords(), skillWidth)})
		}
		t.Render()
		textDrops(out, x.Drops)
		d.textEnd(out)
	}
	for _, x := range d.Rows {
		fmt.Fprintf(out, "Row %s: %s, %s (%s)\n", x.Row, d.SiteName, d.dateWords(), d.Zone)
		d.textDogs(out, x.Dogs)
		t := newTable(out, "from", "to", "what", "who", "where", "skill")
		for _, l := range x.Lines {
			t.AppendRow(table.Row{l.Starts, l.Ends, wrap(d.workWords(l), whatWidth), wrap(l.whoWords(), placeWidth), wrap(l.Area, placeWidth), wrap(l.SkillName, placeWidth)})
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
	t := newTable(out, "run and dog", "cautions", "whom to call")
	for _, code := range codes {
		dog := d.dog(code)
		var lines []string
		for _, c := range dog.Cautions {
			lines = append(lines, wrap(c.About+": "+c.Text, cautionWidth))
		}
		call := wrap("vet: "+orUnknown(dog.Vet.words()), contactWidth) + "\n" + wrap("owner: "+orUnknown(dog.Owner.words()), contactWidth)
		if d.Withheld {
			call = "left out"
		}
		who := wrap(strings.TrimSpace(dog.Run+"  "+dog.Code)+" "+dog.Name, dogWidth) + "\n" + wrap(dog.stayWords(), dogWidth)
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
	t := newTable(out, "dog", "session", "skill", "why", "what would help")
	for _, x := range drops {
		t.AppendRow(table.Row{x.Dog, x.Session, wrap(x.SkillName, placeWidth), wrap(x.Reason, reasonWidth), wrap(x.Remedy, remedyWidth)})
	}
	t.Render()
}

// textEnd writes what stands under every sheet.
func (d *Day) textEnd(out io.Writer) {
	fmt.Fprintln(out)
	for _, words := range d.footWords() {
		fmt.Fprintln(out, text.WrapSoft(words, textWidth))
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

func wrap(words string, width int) string { return text.WrapSoft(words, width) }

// newTable makes a plain table with a line under the heading.
func newTable(out io.Writer, headings ...any) table.Writer {
	t := table.NewWriter()
	t.SetOutputMirror(out)
	t.AppendHeader(table.Row(headings))
	style := table.StyleLight
	style.Options = table.Options{SeparateHeader: true}
	style.Box.PaddingLeft, style.Box.PaddingRight = "", "  "
	style.Format.Header = text.FormatDefault
	t.SetStyle(style)
	return t
}
