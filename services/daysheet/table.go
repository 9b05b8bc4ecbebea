package daysheet

import (
	"io"

	"github.com/longlead/longlead/services/sheet"
)

// Kinds of rows in a table beside those of Line.
const (
	rowDog     = "dog"
	rowCaution = "caution"
	rowDrop    = "not held"
	rowNote    = "note"
)

// tableKind is the form of the table. It is only written: no import takes it in.
var tableKind = sheet.Kind{Name: "day-sheets", About: "Day sheets", Columns: []sheet.Column{
	{Name: "site"}, {Name: "day"}, {Name: "sheet"}, {Name: "kind"}, {Name: "from"}, {Name: "to"}, {Name: "run"}, {Name: "dog"}, {Name: "name"},
	{Name: "session"}, {Name: "trainer"}, {Name: "second"}, {Name: "area"}, {Name: "skill"}, {Name: "target"}, {Name: "about"}, {Name: "text"},
	{Name: "vet_phone"}, {Name: "owner_phone"}}}

// tableRow is a row of the table by the names of its columns.
type tableRow map[string]string

// writeTable writes the sheets as CSV: each sheet's dogs with their cautions, then what to do, then what is not held. The package sheet makes
// cells safe that a spreadsheet program would take for a formula.
func writeTable(out io.Writer, d *Day) error {
	var rows [][]string
	add := func(name string, r tableRow) {
		cells := make([]string, len(tableKind.Columns))
		for i, c := range tableKind.Columns {
			switch c.Name {
			case "site":
				cells[i] = d.SiteCode
			case "day":
				cells[i] = d.Day.String()
			case "sheet":
				cells[i] = name
			default:
				cells[i] = r[c.Name]
			}
		}
		rows = append(rows, cells)
	}
	for _, x := range d.Trainers {
		d.tableSheet(func(r tableRow) { add(x.Code, r) }, x.Dogs, x.Lines, x.Drops)
	}
	for _, x := range d.Rows {
		d.tableSheet(func(r tableRow) { add("row "+x.Row, r) }, x.Dogs, x.Lines, x.Drops)
	}
	for _, words := range d.footWords() {
		add("", tableRow{"kind": rowNote, "text": words})
	}
	return sheet.Write(out, "csv", tableKind, rows)
}

func (d *Day) tableSheet(add func(tableRow), dogs []string, lines []Line, drops []Drop) {
	named := func(kind, code string) tableRow {
		dog := d.dog(code)
		return tableRow{"kind": kind, "run": dog.Run, "dog": code, "name": dog.Name}
	}
	for _, code := range dogs {
		dog := d.dog(code)
		r := named(rowDog, code)
		r["trainer"], r["text"], r["vet_phone"], r["owner_phone"] = dog.Own, dog.stayWords(), dog.Vet.Phone, dog.Owner.Phone
		add(r)
		for _, c := range dog.Cautions {
			r := named(rowCaution, code)
			r["about"], r["text"] = c.About, c.Text
			add(r)
		}
	}
	for _, l := range lines {
		r := tableRow{"kind": l.Kind}
		if l.Dog != "" {
			r = named(l.Kind, l.Dog)
		}
		if l.Session > 0 {
			r["session"] = sheet.Int(l.Session)
		}
		r["from"], r["to"], r["trainer"], r["second"], r["area"], r["skill"], r["target"] = l.Starts, l.Ends, l.Trainer, l.Second, l.Area, l.SkillName, l.Target
		add(r)
	}
	for _, x := range drops {
		r := named(rowDrop, x.Dog)
		r["session"], r["skill"], r["text"] = sheet.Int(x.Session), x.SkillName, x.Reason+"; what would help: "+x.Remedy
		add(r)
	}
}
