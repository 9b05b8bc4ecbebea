package sheet

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/longlead/longlead/services/calendar"
)

// Years that a date may have. A date outside is a slip (0227-03-14) or a number
// that a spreadsheet program made a date of (1900-01-05).
const (
	firstYear = 1950
	lastYear  = 2199
)

const exampleDay = "2027-03-14"

// readDay reads a date into its packed form. ISO dates, year-first dates, dates
// with dots (day first) and dates with the name of the month mean one day only;
// 3/4/2027 needs the order of the options unless one number is above 12.
func (c *column) readDay(text string, n *noted) (int64, *problem) {
	if y, m, d, ok := isoParts(text); ok {
		return c.day(y, m, d)
	}
	if len(text) > 60 {
		return 0, c.noDay()
	}
	text, p := dropTime(text)
	if p != nil {
		return 0, p
	}
	t, ok := splitDay(text)
	if !ok {
		return 0, c.noDay()
	}
	packed, p := c.orderDay(t, n)
	if p != nil || t.weekday < 0 {
		return packed, p
	}
	if got := dayOf(packed).Weekday(); got != time.Weekday(t.weekday) {
		return 0, wrong(fmt.Sprintf("names the wrong day of the week: %s is a %s", Day(dayOf(packed)), got),
			"check the day, then write it as "+exampleDay)
	}
	return packed, nil
}

func (c *column) noDay() *problem {
	example := c.Example
	if _, _, _, ok := isoParts(example); !ok {
		example = exampleDay
	}
	return wrong("is not a date", "write a date as "+example)
}

// isoParts takes 2027-03-14 apart without looking whether there is such a day.
func isoParts(s string) (y, m, d int, ok bool) {
	if len(s) != 10 || s[4] != '-' || s[7] != '-' {
		return 0, 0, 0, false
	}
	for i := 0; i < len(s); i++ {
		if i != 4 && i != 7 && (s[i] < '0' || s[i] > '9') {
			return 0, 0, 0, false
		}
	}
	num := func(a, b int) (n int) {
		for _, c := range []byte(s[a:b]) {
			n = n*10 + int(c-'0')
		}
		return n
	}
	return num(0, 4), num(5, 7), num(8, 10), true
}

// day checks and packs a date.
func (c *column) day(y, m, d int) (int64, *problem) {
	if _, err := calendar.NewDate(y, time.Month(m), d); err != nil {
		if m >= 1 && m <= 12 && d >= 29 && d <= 31 && y >= firstYear && y <= lastYear {
			last := time.Date(y, time.Month(m)+1, 0, 0, 0, 0, 0, time.UTC)
			return 0, wrong("is not a date", "write it as "+last.Format(time.DateOnly))
		}
		return 0, c.noDay()
	}
	if y < firstYear || y > lastYear {
		return 0, wrong(fmt.Sprintf("is in the year %d, outside %d to %d", y, firstYear, lastYear), "check the year, then write the date as "+exampleDay)
	}
	return packDay(y, m, d), nil
}

// dropTime takes midnight off a date: 2027-03-14T00:00:00Z and the like are
// what databases and spreadsheet programs make of a day. Another time is a fault.
func dropTime(text string) (string, *problem) {
	colon := strings.IndexByte(text, ':')
	if colon < 0 {
		return text, nil
	}
	start := strings.LastIndexAny(text[:colon], " T")
	if start < 1 {
		return text, nil // a time alone: no date
	}
	at := strings.ToUpper(strings.TrimSpace(text[start+1:]))
	at = strings.TrimSuffix(strings.TrimSuffix(at, "+00:00"), "Z")
	if twelve, ok := strings.CutSuffix(at, "AM"); ok {
		at = strings.Replace(strings.TrimSpace(twelve), "12:", "00:", 1)
	}
	if strings.Trim(at, "0:.") != "" {
		return "", wrong("holds a time beside the date", "write only the day, as "+exampleDay)
	}
	return strings.TrimSuffix(text[:start], ","), nil
}

// dayParts is a date taken apart: three numbers, or two and a month by name.
type dayParts struct {
	nums    []string
	month   int  // by name, 0 without
	first   bool // the month's name stands before the numbers
	sep     byte // between the first two numbers
	weekday int  // -1 without
}

// splitDay takes a written date apart; false when it is none.
func splitDay(text string) (dayParts, bool) {
	t := dayParts{weekday: -1}
	for i := 0; i < len(text); {
		j := i
		switch {
		case isDigit(text[i]):
			for j < len(text) && isDigit(text[j]) {
				j++
			}
			if t.nums = append(t.nums, text[i:j]); len(t.nums) == 1 && j < len(text) {
				t.sep = text[j]
			} else if len(t.nums) == 2 && t.month == 0 && j < len(text) && t.sep != text[j] {
				return t, false // 14-03/2027
			}
			if j+2 <= len(text) && isOrdinal(text[j:]) {
				j += 2
			}
		case isLetter(text[i]):
			for j < len(text) && isLetter(text[j]) {
				j++
			}
			if !t.word(strings.ToLower(text[i:j])) {
				return t, false
			}
		case strings.IndexByte(" ./,-", text[i]) >= 0:
			j++
		default:
			return t, false
		}
		i = j
	}
	if len(t.nums) == 1 && t.month == 0 && len(t.nums[0]) == 8 {
		s := t.nums[0] // 20270314
		t.nums, t.sep = []string{s[:4], s[4:6], s[6:]}, '-'
	}
	return t, len(t.nums) == 3 && t.month == 0 || len(t.nums) == 2 && t.month > 0
}

func isDigit(c byte) bool  { return c >= '0' && c <= '9' }
func isLetter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' }

// isOrdinal reports the ending of 1st, 2nd, 3rd, 14th.
func isOrdinal(s string) bool {
	switch strings.ToLower(s[:2]) {
	case "st", "nd", "rd", "th":
		return len(s) == 2 || !isLetter(s[2])
	}
	return false
}

// word takes the name of a month or a weekday; false for any other word.
func (t *dayParts) word(w string) bool {
	if w == "of" || w == "the" {
		return true
	}
	if len(w) < 3 {
		return false
	}
	for m := time.January; m <= time.December; m++ {
		if name := strings.ToLower(m.String()); t.month == 0 && (w == name || w == name[:3] || w == "sept" && m == time.September) {
			t.month, t.first = int(m), len(t.nums) == 0
			return true
		}
	}
	for d := time.Sunday; d <= time.Saturday; d++ {
		name := strings.ToLower(d.String())
		if t.weekday < 0 && (w == name || w == name[:3] || len(w) == 4 && strings.HasPrefix(name, w)) {
			t.weekday = int(d)
			return true
		}
	}
	return false
}

// orderDay decides which number is the day.
func (c *column) orderDay(t dayParts, n *noted) (int64, *problem) {
	var v [3]int
	for i, s := range t.nums {
		if len(s) > 4 || len(s) == 3 {
			return 0, c.noDay()
		}
		v[i], _ = strconv.Atoi(s) // at most four digits
	}
	last := t.nums[len(t.nums)-1]
	if t.month > 0 {
		switch {
		case len(t.nums[0]) == 4 && !t.first && len(last) <= 2: // 2027 Mar 14
			return c.day(v[0], t.month, v[1])
		case len(t.nums[0]) > 2:
			return 0, c.noDay()
		case len(last) == 2: // 14-Mar-27, as Excel writes dates into CSV files
			n.shortYear = true
			return c.day(2000+v[1], t.month, v[0])
		case len(last) == 4:
			return c.day(v[1], t.month, v[0])
		}
		return 0, c.noDay()
	}
	if len(t.nums[0]) == 4 && len(t.nums[1]) <= 2 && len(last) <= 2 {
		return c.day(v[0], v[1], v[2])
	}
	if len(t.nums[0]) > 2 || len(t.nums[1]) > 2 || len(last) == 1 {
		return 0, c.noDay()
	}
	if len(last) == 2 {
		return 0, wrong("has a year of two digits", "write the year in full, as "+exampleDay)
	}
	return c.dayOrMonthFirst(t.sep, v[0], v[1], v[2])
}

// dayOrMonthFirst reads a/b/y.
func (c *column) dayOrMonthFirst(sep byte, a, b, y int) (int64, *problem) {
	order := c.dates
	if order == DatesISO {
		switch {
		case sep == '.', a > 12, a == b:
			order = DatesDMY
		case b > 12:
			order = DatesMDY
		default:
			dmy, mdy := fmt.Sprintf("%04d-%02d-%02d", y, b, a), fmt.Sprintf("%04d-%02d-%02d", y, a, b)
			if a == 0 || b == 0 {
				return 0, c.noDay()
			}
			return 0, wrong(fmt.Sprintf("can mean %s or %s", dmy, mdy),
				"write the one that is meant, or say how this file writes dates with --dates dmy or --dates mdy")
		}
	} else if m := monthOf(order, a, b); m > 12 {
		return 0, wrong(fmt.Sprintf("has no month %d when read %s", m, orderWords(order)),
			"write it as "+exampleDay+", or check the option --dates")
	}
	if order == DatesMDY {
		return c.day(y, a, b)
	}
	return c.day(y, b, a)
}

func monthOf(order DateOrder, a, b int) int {
	if order == DatesMDY {
		return a
	}
	return b
}

func orderWords(order DateOrder) string {
	if order == DatesMDY {
		return "month first"
	}
	return "day first"
}

// readClock reads a time of day into minutes: 9:30, 09:30:00, 9.30, 0930,
// 9:30 am, 9 pm.
func (c *column) readClock(text string) (int64, *problem) {
	bad := wrong("is not a time of day", "write it as 09:30, from 00:00 to 23:59")
	s := strings.ToLower(strings.ReplaceAll(text, " ", ""))
	half := ""
	for _, h := range []string{"am", "pm", "a.m.", "p.m."} {
		if rest, ok := strings.CutSuffix(s, h); ok {
			s, half = rest, h[:1]
		}
	}
	var hour, minute string
	if i := strings.IndexAny(s, ":."); i >= 0 {
		hour, minute = s[:i], s[i+1:]
		if rest, ok := strings.CutSuffix(minute, ":00"); ok && s[i] == ':' {
			minute = rest
		}
	} else if len(s) == 4 {
		hour, minute = s[:2], s[2:]
	} else if half != "" {
		hour, minute = s, "00"
	}
	if len(hour) < 1 || len(hour) > 2 || len(minute) != 2 || strings.Trim(hour+minute, "0123456789") != "" {
		return 0, bad
	}
	h, _ := strconv.Atoi(hour)
	m, _ := strconv.Atoi(minute)
	if half != "" {
		if h < 1 || h > 12 {
			return 0, bad
		}
		h %= 12
		if half == "p" {
			h += 12
		}
	}
	clock, err := calendar.NewClock(h, m)
	if err != nil {
		return 0, bad
	}
	return int64(clock), nil
}

func clockText(n int64) string { return Clock(calendar.Clock(n)) }
