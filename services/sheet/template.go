package sheet

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// Sheets that a template has beside the lists, and that ReadBook passes over.
const (
	aboutSheet   = "about"
	choicesSheet = "choices"
)

// Template writes an empty list to fill in, as "csv" or "xlsx": the header and
// one example row, which people replace. A workbook has notes on its header
// cells, lists to choose from, all but numbers formatted as text, and a sheet
// that explains the columns.
func Template(w io.Writer, format string, k Kind) error {
	switch format {
	case "csv":
		return writeCSV(w, k, [][]string{exampleRow(k)})
	case "xlsx":
		return TemplateBook(w, []Kind{k})
	}
	return unknownFormat(format)
}

// exampleRow takes the examples of the columns; required ones always have one.
func exampleRow(k Kind) []string {
	lay := newLayout(k, DatesISO)
	row := make([]string, len(k.Columns))
	for i := range lay.cols {
		c := &lay.cols[i]
		switch row[i] = c.Example; {
		case row[i] != "" || !c.required:
		case c.Form == FormChoice:
			row[i] = c.OneOf[0]
		default:
			row[i] = map[Form]string{FormWhole: Int(max(c.Min, 1)), FormTenths: Tenths(max(c.Min, 10)), FormDay: exampleDay,
				FormClock: "09:30", FormYesNo: "yes", FormCode: "A-1"}[c.Form]
		}
		if row[i] == "" && c.required {
			row[i] = "example"
		}
	}
	return row
}

// TemplateBook writes a workbook with an empty list for each kind.
func TemplateBook(w io.Writer, kinds []Kind) error {
	fail := func(err error) error { return fmt.Errorf("write a template: %w", err) }
	if len(kinds) == 0 {
		return fail(fmt.Errorf("there is no kind to write"))
	}
	f := excelize.NewFile()
	defer func() { _ = f.Close() }() // only temporary files
	s, err := newStyles(f)
	if err != nil {
		return fail(err)
	}
	t := &templateBook{f: f, styles: s}
	for i, k := range kinds {
		if err := addSheet(f, i, k.Name); err != nil {
			return fail(err)
		}
		if err := t.list(k); err != nil {
			return fail(fmt.Errorf("sheet %s: %w", k.Name, err))
		}
	}
	if err := t.about(kinds); err != nil {
		return fail(err)
	}
	if err := f.Write(w); err != nil {
		return fail(err)
	}
	return nil
}

type templateBook struct {
	f       *excelize.File
	styles  styles
	choices int // columns used on the sheet of choices
}

// list fills the sheet of one kind.
func (t *templateBook) list(k Kind) error {
	err := t.f.SetPanes(k.Name, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})
	if err != nil {
		return err
	}
	examples := exampleRow(k)
	lay := newLayout(k, DatesISO)
	for i := range lay.cols {
		c := &lay.cols[i]
		if err := t.column(k.Name, columnLetters(i), c, examples[i]); err != nil {
			return fmt.Errorf("column %s: %w", c.Name, err)
		}
	}
	return nil
}

// column fills one column: style, header with its note, example, validation.
func (t *templateBook) column(sheet, letters string, c *column, example string) error {
	if err := t.f.SetColStyle(sheet, letters, t.styles.of(c.Column)); err != nil {
		return err
	}
	if err := t.f.SetColWidth(sheet, letters, letters, widthOf(c.Column)); err != nil {
		return err
	}
	if err := t.f.SetCellStr(sheet, letters+"1", c.Name); err != nil {
		return err
	}
	if err := t.f.SetCellStyle(sheet, letters+"1", letters+"1", t.styles.head); err != nil {
		return err
	}
	note := excelize.Comment{Cell: letters + "1", Author: "Longlead", Text: c.note(), Width: 260, Height: 140}
	if err := t.f.AddComment(sheet, note); err != nil {
		return err
	}
	if cell, ok := bookCell(tidy(example), t.styles, c.Column).(excelize.Cell); ok {
		if err := t.f.SetCellValue(sheet, letters+"2", cell.Value); err != nil {
			return err
		}
	}
	return t.validate(sheet, letters, c)
}

// validate lets the spreadsheet program refuse what Read would refuse, where it
// can: choices, yes or no, and bounded whole numbers.
func (t *templateBook) validate(sheet, letters string, c *column) error {
	if c.Many {
		return nil
	}
	dv := excelize.NewDataValidation(!c.required)
	dv.SetSqref(fmt.Sprintf("%s2:%s%d", letters, letters, MaxRows+1))
	switch {
	case c.Form == FormYesNo:
		if err := dv.SetDropList([]string{"yes", "no"}); err != nil {
			return err
		}
		dv.SetError(excelize.DataValidationErrorStyleStop, c.Name, "Write yes or no.")
	case c.Form == FormChoice:
		if err := t.dropList(dv, c.OneOf); err != nil {
			return err
		}
		dv.SetError(excelize.DataValidationErrorStyleStop, c.Name, "Choose one of the list.")
	case c.Form == FormWhole && c.Max != 0:
		if err := dv.SetRange(c.Min, c.Max, excelize.DataValidationTypeWhole, excelize.DataValidationOperatorBetween); err != nil {
			return err
		}
		dv.SetError(excelize.DataValidationErrorStyleStop, c.Name, fmt.Sprintf("Write a whole number from %d to %d.", c.Min, c.Max))
	default:
		return nil
	}
	return t.f.AddDataValidation(sheet, dv)
}

// dropList offers the choices: within the rule when they fit there, else from a
// hidden sheet.
func (t *templateBook) dropList(dv *excelize.DataValidation, choices []string) error {
	const fits = 200 // the limit is 255 characters; this stays clear of it
	if joined := strings.Join(choices, ","); len(joined) <= fits && strings.Count(joined, ",") == len(choices)-1 && !strings.ContainsAny(joined, `"`) {
		return dv.SetDropList(choices)
	}
	if t.choices == 0 {
		if _, err := t.f.NewSheet(choicesSheet); err != nil {
			return err
		}
		if err := t.f.SetSheetVisible(choicesSheet, false); err != nil {
			return err
		}
	}
	letters := columnLetters(t.choices)
	t.choices++
	for i, v := range choices {
		if err := t.f.SetCellStr(choicesSheet, fmt.Sprintf("%s%d", letters, i+1), v); err != nil {
			return err
		}
	}
	dv.SetSqrefDropList(fmt.Sprintf("%s!$%s$1:$%s$%d", choicesSheet, letters, letters, len(choices)))
	return nil
}

// about fills the sheet that explains the columns.
func (t *templateBook) about(kinds []Kind) error {
	if _, err := t.f.NewSheet(aboutSheet); err != nil {
		return err
	}
	row := 1
	put := func(cells ...string) error {
		defer func() { row++ }()
		for i, c := range cells {
			if err := t.f.SetCellStr(aboutSheet, fmt.Sprintf("%s%d", columnLetters(i), row), c); err != nil {
				return err
			}
		}
		return nil
	}
	for _, k := range kinds {
		for _, line := range k.intro() {
			if err := put(line); err != nil {
				return err
			}
		}
		if err := put("column", "needed", "what to write"); err != nil {
			return err
		}
		lay := newLayout(k, DatesISO)
		for i := range lay.cols {
			c := &lay.cols[i]
			if err := put(c.Name, YesNo(c.required), c.what()); err != nil {
				return err
			}
		}
		row++
	}
	if err := t.f.SetColWidth(aboutSheet, "A", "A", 24); err != nil {
		return err
	}
	return t.f.SetColWidth(aboutSheet, "C", "C", 100)
}

// Describe explains a kind to people: what its file is called, which columns it
// has and what to write into them.
func Describe(k Kind) string {
	var b strings.Builder
	for _, line := range k.intro() {
		b.WriteString(line + "\n")
	}
	b.WriteByte('\n')
	tw := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	_, _ = fmt.Fprintln(tw, "column\tneeded\twhat to write") // a strings.Builder does not fail
	lay := newLayout(k, DatesISO)
	for i := range lay.cols {
		c := &lay.cols[i]
		_, _ = fmt.Fprintf(tw, "%s\t%s\t%s\n", c.Name, YesNo(c.required), c.what())
	}
	_ = tw.Flush()
	return b.String()
}

// intro is the text above the columns of a kind.
func (k Kind) intro() []string {
	lines := []string{k.Name}
	if k.About != "" {
		lines[0] += ": " + k.About
	}
	row := "One row for each record, under a header row with the names of the columns."
	switch len(k.Key) {
	case 0:
	case 1:
		row += fmt.Sprintf(" No two rows may have the same %s.", k.Key[0])
	default:
		last := len(k.Key) - 1
		row += fmt.Sprintf(" No two rows may have the same %s and %s.", strings.Join(k.Key[:last], ", "), k.Key[last])
	}
	return append(lines, row)
}

// note is the text on a header cell of a template.
func (c *column) note() string {
	need := "May be left empty."
	if c.required {
		need = "Needed in every row."
	}
	return c.what() + "\n" + need
}

// what says what to write into a column.
func (c *column) what() string {
	var parts []string
	if c.About != "" {
		parts = append(parts, capital(strings.TrimSuffix(c.About, "."))+".")
	}
	form := c.formText()
	if c.Many {
		form += "; several are separated by ; or |"
	}
	parts = append(parts, capital(form)+".")
	if c.Refers != "" {
		parts = append(parts, fmt.Sprintf("It must be in the list of %s.", c.Refers))
	}
	if c.Example != "" {
		parts = append(parts, "Example: "+c.Example)
	}
	return strings.Join(parts, " ")
}

func capital(s string) string {
	if s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

func (c *column) formText() string {
	switch c.Form {
	case FormWhole:
		return "a whole number" + c.bounds(func(n int) string { return Int(n) })
	case FormTenths:
		return "a number with at most one decimal place" + c.bounds(func(n int) string { return Tenths(n) })
	case FormDay:
		return "a date as " + exampleDay
	case FormClock:
		return "a time of day as 09:30"
	case FormYesNo:
		return "yes or no"
	case FormChoice:
		return "one of " + strings.Join(c.OneOf, ", ")
	case FormCode:
		return fmt.Sprintf("a code of at most %d characters", MaxCode)
	}
	if c.Max > 0 {
		return fmt.Sprintf("a text of at most %d characters", c.Max)
	}
	return "a text"
}

func (c *column) bounds(unit func(int) string) string {
	switch {
	case c.Min == 0 && c.Max == 0:
		return ""
	case c.Max == 0:
		return fmt.Sprintf(", %s or more", unit(c.Min))
	}
	return fmt.Sprintf(" from %s to %s", unit(c.Min), unit(c.Max))
}
