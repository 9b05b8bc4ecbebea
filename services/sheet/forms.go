package sheet

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// noted collects what the reader of a file should know although it is no fault.
type noted struct{ shortYear bool }

// checkCell reports what is wrong with a cell that is not empty.
func (c *column) checkCell(text string, n *noted) *problem {
	_, p := c.read(text, n)
	return p
}

// read understands a clean cell that is not empty. The number is what Row keeps
// of it: the number itself, tenths, a packed date, minutes, 1 for yes, the
// position of a choice; 0 for text, codes and cells with several values.
func (c *column) read(text string, n *noted) (int64, *problem) {
	if p := spoilt(text, c.Form); p != nil {
		return 0, p
	}
	if !c.Many {
		return c.readOne(text, n)
	}
	items := splitList(text)
	if len(items) == 0 {
		return 0, wrong("has separators and no value", "write a value, or leave the cell empty")
	}
	for _, item := range items {
		if _, p := c.readOne(item, n); p != nil {
			if len(items) > 1 {
				p.rule = fmt.Sprintf("holds %q, which %s", shorten(item), p.rule)
			}
			return 0, p
		}
	}
	return 0, nil
}

func (c *column) readOne(text string, n *noted) (int64, *problem) {
	switch c.Form {
	case FormWhole:
		v, p := c.readNumber(text, 0)
		return v, p
	case FormTenths:
		v, p := c.readNumber(text, 1)
		return v, p
	case FormDay:
		return c.readDay(text, n)
	case FormClock:
		return c.readClock(text)
	case FormYesNo:
		return readYesNo(text)
	case FormChoice:
		return c.readChoice(text)
	case FormCode:
		return 0, readCode(text)
	default:
		return 0, c.readText(text)
	}
}

// spell writes a value of the column the one way that Write writes it.
func (c *column) spell(text string, n int64) string {
	switch c.Form {
	case FormWhole:
		return Int(n)
	case FormTenths:
		return Tenths(n)
	case FormDay:
		return Day(dayOf(n))
	case FormClock:
		return clockText(n)
	case FormYesNo:
		return YesNo(n == 1)
	case FormChoice:
		return c.OneOf[n]
	default:
		return text
	}
}

// values returns the values of a cell that was found good, each as spell writes it.
func (c *column) values(text string) []string {
	if text == "" {
		return nil
	}
	items := []string{text}
	if c.Many {
		items = splitList(text)
	}
	for i, item := range items {
		n, _ := c.readOne(item, new(noted))
		items[i] = c.spell(item, n)
	}
	return items
}

// The values by which spreadsheet programs show that a formula failed.
var errorValues = map[string]bool{
	"#N/A": true, "#REF!": true, "#VALUE!": true, "#DIV/0!": true, "#NAME?": true, "#NULL!": true,
	"#NUM!": true, "#SPILL!": true, "#CALC!": true, "#GETTING_DATA": true,
}

// spoilt reports cells that a spreadsheet program has damaged, which would pass
// for text, and characters that no cell may hold.
func spoilt(text string, form Form) *problem {
	switch {
	case text[0] == '#' && errorValues[text]:
		return wrong("is the mark of a formula that failed", "correct the formula, or write the value itself")
	case len(text) > 1 && text[0] == '#' && strings.Trim(text, "#") == "":
		return wrong("is what a column shows that was too narrow when the file was saved", "widen the column and save again")
	case (form == FormCode || form == FormText) && isShortened(text):
		return wrong("is a long number that a spreadsheet program has shortened", "format the column as text and write all digits")
	case len(text) > MaxCell && utf16Len(text) > MaxCell:
		return wrong(fmt.Sprintf("has %d characters, more than the %d a cell may have", utf16Len(text), MaxCell),
			"shorten it; a missing quote earlier in the file can be the cause as well")
	}
	for _, r := range text {
		if forbidden(r) {
			return wrong(fmt.Sprintf("holds a character that can't be shown (%U)", r), "delete the cell and type it again")
		}
	}
	return nil
}

// isShortened reports numbers like 9.85112E+14, as a long microchip number
// looks after it was once saved by a spreadsheet program.
func isShortened(s string) bool {
	point, e := strings.IndexByte(s, '.'), strings.Index(s, "E+")
	if e < 1 || len(s)-e != 4 || s[0] < '0' || s[0] > '9' {
		return false
	}
	digits := s[:e] + s[e+2:]
	if point == 1 {
		digits = s[:1] + s[2:e] + s[e+2:]
	}
	return strings.Trim(digits, "0123456789") == ""
}

// utf16Len counts characters as Excel does.
func utf16Len(s string) int {
	n := 0
	for _, r := range s {
		if n++; r > 0xFFFF {
			n++
		}
	}
	return n
}

func (c *column) readText(text string) *problem {
	n := utf8.RuneCountInString(text)
	switch {
	case c.Max > 0 && n > c.Max:
		return wrong(fmt.Sprintf("has %d characters, more than %d", n, c.Max), "shorten it")
	case n < c.Min:
		return wrong(fmt.Sprintf("has %d characters, fewer than %d", n, c.Min), "write more")
	}
	return nil
}

func readCode(text string) *problem {
	if n := utf8.RuneCountInString(text); n > MaxCode {
		return wrong(fmt.Sprintf("has %d characters, more than the %d of a code", n, MaxCode), "write a shorter code")
	}
	for _, r := range text {
		switch {
		case r == ';' || r == '|':
			return wrong(fmt.Sprintf("holds %q, which separates values", r), "write one code without it")
		case r == '\n' || r == '\t' || unicode.Is(unicode.Cf, r):
			return wrong("holds a line break or a character that can't be seen", "delete the cell and type the code again")
		}
	}
	return nil
}

var yesNoWords = map[string]int64{
	"yes": 1, "y": 1, "true": 1, "1": 1, "x": 1, "1.0": 1, "✓": 1,
	"no": 0, "n": 0, "false": 0, "0": 0, "0.0": 0,
}

func readYesNo(text string) (int64, *problem) {
	if n, ok := yesNoWords[strings.ToLower(text)]; ok {
		return n, nil
	}
	return 0, wrong("is neither yes nor no", "write yes or no")
}

func (c *column) readChoice(text string) (int64, *problem) {
	f := fold(text)
	if i, ok := c.choices[f]; ok {
		return int64(i), nil
	}
	remedy := "write one of " + strings.Join(c.OneOf, ", ")
	if len(c.OneOf) > 12 {
		remedy = fmt.Sprintf("write one of the %d choices of this column, such as %s", len(c.OneOf), strings.Join(c.OneOf[:6], ", "))
	}
	if near := nearest(f, c.OneOf); near != "" {
		remedy = fmt.Sprintf("did you mean %s? %s", near, remedy)
	}
	return 0, wrong("is not one of the choices", remedy)
}

// readNumber reads a decimal number with at most the given decimal places (0
// or 1) as a count of its smallest unit, and checks the bounds.
func (c *column) readNumber(text string, places int) (int64, *problem) {
	n, p := parseNumber(text, places)
	if p != nil {
		return 0, p
	}
	unit := func(v int) string {
		if places == 1 {
			return Tenths(v)
		}
		return Int(v)
	}
	bounded := c.Min != 0 || c.Max != 0
	below := bounded && n < int64(c.Min)
	above := bounded && c.Max != 0 && n > int64(c.Max)
	switch {
	case !below && !above:
		return n, nil
	case c.Max == 0:
		return 0, wrong("is below "+unit(c.Min), fmt.Sprintf("write a number of %s or more", unit(c.Min)))
	case below:
		return 0, wrong("is below "+unit(c.Min), fmt.Sprintf("write a number from %s to %s", unit(c.Min), unit(c.Max)))
	default:
		return 0, wrong("is above "+unit(c.Max), fmt.Sprintf("write a number from %s to %s", unit(c.Min), unit(c.Max)))
	}
}

// parseNumber reads a sign, digits and a decimal part after a point or a comma.
// A group of exactly three digits after a point or comma can be thousands as
// well as decimals, so it is refused whatever it was.
func parseNumber(text string, places int) (int64, *problem) {
	form, example := "a whole number", "12"
	if places == 1 {
		form, example = "a number", "12.5"
	}
	notOne := wrong("is not "+form, "write only digits, for example "+example)
	s, negative := strings.TrimPrefix(text, "+"), false
	for _, minus := range []string{"-", "−"} {
		if rest, ok := strings.CutPrefix(text, minus); ok {
			s, negative = rest, true
		}
	}
	if grouped := groups(s); grouped != "" {
		return 0, wrong("can be read with a thousands separator or with decimals", "write it without thousands separators, as "+grouped+" or as "+example)
	}
	whole, part := s, ""
	if i := strings.IndexAny(s, ".,"); i >= 0 {
		whole, part = s[:i], strings.TrimRight(s[i+1:], "0")
		if s[i+1:] == "" {
			return 0, notOne
		}
	}
	if whole == "" || strings.Trim(whole, "0123456789") != "" || strings.Trim(part, "0123456789") != "" {
		return 0, notOne
	}
	if whole = strings.TrimLeft(whole, "0"); len(whole) > 15 {
		return 0, wrong("is too large a number", "check the digits")
	}
	if len(part) > places {
		if places == 0 {
			return 0, wrong("is not a whole number", "round it to a whole number")
		}
		return 0, wrong("has more than one decimal place", "round it to one decimal place, for example "+example)
	}
	for len(part) < places {
		part += "0"
	}
	n, err := strconv.ParseInt("0"+whole+part, 10, 64)
	if err != nil {
		return 0, notOne
	}
	if negative {
		n = -n
	}
	return n, nil
}

// groups returns the digits alone when a number is written in groups of three,
// such as 1,200 or 1.200.000 or 1 200; "" when it is not.
func groups(s string) string {
	digits := 0 // of the current group
	seps := 0
	var all []byte
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			digits++
			all = append(all, c)
		case strings.IndexByte(" .,'", c) >= 0:
			if digits == 0 || digits > 3 || (seps > 0 && digits != 3) {
				return ""
			}
			seps++
			digits = 0
		default:
			return ""
		}
	}
	if seps == 0 || digits != 3 {
		return ""
	}
	return string(all)
}

// nearest returns the name that is most like a folded one, or "" when none is
// close enough to be a slip of the pen.
func nearest(folded string, names []string) string {
	best, at := "", 3
	for _, name := range names {
		f := fold(name)
		if d := distance(folded, f); d < at && d*2 < len(f) {
			best, at = name, d
		}
	}
	return best
}

// distance counts the letters to add, drop, change or swap with their neighbour
// between two words. Words of great length count as far apart.
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > MaxCode || len(y) > MaxCode {
		return MaxCode
	}
	before, last, row := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		before, last, row = last, row, before
		row[0] = i + 1
		for j := range y {
			cost := 1
			if x[i] == y[j] {
				cost = 0
			}
			row[j+1] = min(last[j]+cost, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && x[i] == y[j-1] && x[i-1] == y[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
	}
	return row[len(y)]
}
