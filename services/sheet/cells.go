package sheet

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/longlead/longlead/services/calendar"
)

// Day writes a date as a cell; the absent date is an empty cell.
func Day(d calendar.Date) string {
	if d.IsZero() {
		return ""
	}
	return d.String()
}

// Clock writes a time of day as a cell.
func Clock(c calendar.Clock) string { return c.String() }

// Int writes a whole number of any type as a cell.
func Int[T ~int | ~int8 | ~int16 | ~int32 | ~int64](n T) string {
	return strconv.FormatInt(int64(n), 10)
}

// Tenths writes a number of tenths as a cell: 25 is 2.5, and 20 is 2.0.
func Tenths[T ~int | ~int8 | ~int16 | ~int32 | ~int64](n T) string {
	whole, part, sign := int64(n)/10, int64(n)%10, ""
	if n < 0 {
		whole, part, sign = -whole, -part, "-"
	}
	return sign + strconv.FormatInt(whole, 10) + "." + strconv.FormatInt(part, 10)
}

// YesNo writes a cell that says yes or no.
func YesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

const listSeparator = "|"

// List writes several values into one cell, for a column with Many. Empty
// values are left out; a separator inside a value is written after a backslash
// and comes in again as it was.
func List(values ...string) string {
	var b strings.Builder
	for _, v := range values {
		if v = clean(v); v == "" {
			continue
		}
		if b.Len() > 0 {
			b.WriteString(listSeparator)
		}
		b.WriteString(escapeItem(v))
	}
	return b.String()
}

var itemEscapes = strings.NewReplacer(`\`, `\\`, ";", `\;`, "|", `\|`)

func escapeItem(v string) string { return itemEscapes.Replace(v) }

// splitList undoes List, and takes lists that people wrote with ; or |.
func splitList(cell string) []string {
	var items []string
	var item []byte
	keep := func() {
		if v := clean(string(item)); v != "" {
			items = append(items, v)
		}
		item = item[:0]
	}
	for i := 0; i < len(cell); i++ {
		switch c := cell[i]; {
		case c == '\\' && i+1 < len(cell) && strings.IndexByte(`\;|`, cell[i+1]) >= 0:
			i++
			item = append(item, cell[i])
		case c == ';' || c == '|':
			keep()
		default:
			item = append(item, c)
		}
	}
	keep()
	return items
}

// clean is what every cell goes through, in and out: no spaces at the ends,
// plain spaces, no zero-width marks, line feeds, valid UTF-8. Cleaning twice
// changes nothing.
func clean(s string) string {
	if isClean(s) {
		return s
	}
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.ReplaceAll(s, "\r\n", "\n")
	s = strings.Map(func(r rune) rune {
		switch r {
		case '\r':
			return '\n'
		case '\u00A0', '\u2007', '\u202F': // non-breaking spaces
			return ' '
		case '\u200B', '\u2060', '\uFEFF': // zero width
			return -1
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}

// isClean is the quick way out for plain ASCII, which most cells are.
func isClean(s string) bool {
	if s == "" {
		return true
	}
	for i := 0; i < len(s); i++ {
		if s[i] >= utf8.RuneSelf || s[i] == '\r' {
			return false
		}
	}
	return s[0] > ' ' && s[len(s)-1] > ' '
}

// tidy is clean without the characters that no file can carry; Write uses it.
func tidy(s string) string {
	return clean(strings.Map(func(r rune) rune {
		if forbidden(r) {
			return -1
		}
		return r
	}, clean(s)))
}

// forbidden reports characters that a cell must not hold: control characters
// other than tab and line feed, and the two that XML can't carry.
func forbidden(r rune) bool {
	return unicode.IsControl(r) && r != '\n' && r != '\t' || r == '\uFFFE' || r == '\uFFFF'
}

// A spreadsheet program takes a cell that begins with one of these for a
// formula. The wide forms count in some languages.
const formulaStarts = "=+-@＝＋－＠"

// guard prepares a clean cell for a CSV file: what a spreadsheet program would
// take for a formula gets a single quote before it. So does a cell that already
// looks guarded, or unguard would take away a quote that belongs to it. Plain
// numbers such as -5 do no harm and stay numbers.
func guard(s string) string {
	if s == "" || isPlainNumber(s) {
		return s
	}
	if guarded(s) || startsFormula(s) {
		return "'" + s
	}
	return s
}

// guardText prepares a clean cell for a workbook, where text is text: only what
// unguard would change needs the quote.
func guardText(s string) string {
	if guarded(s) {
		return "'" + s
	}
	return s
}

// unguard takes away the quote of guard, and the one that people type before
// '00123 to keep the zeros. A name such as 't Hof keeps its own.
func unguard(s string) string {
	if guarded(s) {
		return s[1:]
	}
	return s
}

// guarded reports a cell of one or more single quotes before the beginning of a
// formula or before nothing but digits and the marks of dates and numbers.
func guarded(s string) bool {
	if s == "" || s[0] != '\'' {
		return false
	}
	rest := strings.TrimLeft(s, "'")
	if startsFormula(rest) {
		return true
	}
	return rest != "" && rest[0] >= '0' && rest[0] <= '9' && strings.Trim(rest, "0123456789 .,:/-()") == ""
}

func startsFormula(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return s != "" && strings.ContainsRune(formulaStarts, r)
}

// isPlainNumber reports an optional sign, digits and at most one point.
func isPlainNumber(s string) bool {
	if s[0] == '-' || s[0] == '+' {
		s = s[1:]
	}
	digits, points := 0, 0
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] >= '0' && s[i] <= '9':
			digits++
		case s[i] == '.':
			points++
		default:
			return false
		}
	}
	return digits > 0 && points <= 1
}
