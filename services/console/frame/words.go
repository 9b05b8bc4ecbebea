package frame

import (
	"fmt"
	"html/template"
	"net/url"
	"reflect"
	"strconv"
	"strings"
	"time"
)

// functions are what all templates may use.
func functions() template.FuncMap {
	return template.FuncMap{
		"day": Day, "longday": LongDay, "percent": Percent, "words": Words, "month": MonthName, "part": url.PathEscape,
		// Templates have no generic functions: numbers come as what they are.
		"points": func(n any) string { return Points(whole(n)) }, "signed": func(n any) string { return Signed(whole(n)) }, "minutes": func(n any) string { return Minutes(whole(n)) },
		"count": func(n any, one, many string) string { return Count(whole(n), one, many) },
	}
}

// whole turns any whole number into an int64; what is none is a fault of the template.
func whole(n any) int64 {
	v := reflect.ValueOf(n)
	if v.CanInt() {
		return v.Int()
	}
	panic(fmt.Sprintf("%v is no whole number", n))
}

func parseDay(text string) (time.Time, bool) {
	d, err := time.Parse(time.DateOnly, text)
	return d, err == nil
}

// Day writes a day for a table: "Mon 8 Mar". What is no day stays as it is.
func Day(text string) string {
	if d, ok := parseDay(text); ok {
		return d.Format("Mon 2 Jan")
	}
	return text
}

// LongDay writes a day for a heading: "Monday, 8 March 2027".
func LongDay(text string) string {
	if d, ok := parseDay(text); ok {
		return d.Format("Monday, 2 January 2006")
	}
	return text
}

// MonthName writes a month, "2027-03", for a heading: "March 2027".
func MonthName(text string) string {
	if d, ok := parseDay(text + "-01"); ok {
		return d.Format("January 2006")
	}
	return text
}

// Points writes a whole number with commas between thousands: "42,990".
func Points[N ~int32 | ~int64 | ~int](n N) string {
	digits := strconv.FormatInt(int64(n), 10)
	sign := ""
	if digits[0] == '-' {
		sign, digits = "\u2212", digits[1:]
	}
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + "," + digits[i:]
	}
	return sign + digits
}

// Signed is Points with a plus before what is above 0.
func Signed[N ~int32 | ~int64 | ~int](n N) string {
	if n > 0 {
		return "+" + Points(n)
	}
	return Points(n)
}

// Percent writes a share with as many digits as matter: "2.3 %".
func Percent(p float64) string {
	switch {
	case p != 0 && p < 0.1 && p > -0.1:
		return fmt.Sprintf("%.2f %%", p)
	case p > -10 && p < 10:
		return fmt.Sprintf("%.1f %%", p)
	}
	return fmt.Sprintf("%.0f %%", p)
}

// Minutes writes a time in minutes: "45 min", "6 h 20".
func Minutes[N ~int32 | ~int64 | ~int](n N) string {
	if n < 60 {
		return fmt.Sprintf("%d min", n)
	}
	return fmt.Sprintf("%d h %02d", n/60, n%60)
}

// Count writes a number with its noun: "1 dog", "12 dogs".
func Count[N ~int32 | ~int64 | ~int](n N, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return Points(n) + " " + many
}

// Words turns a machine's word into a person's: "HANDOVER_STATE_NO_SHOW" without its prefix, "site-lead" as "site lead".
func Words(prefix, text string) string {
	return strings.ToLower(strings.NewReplacer("_", " ", "-", " ").Replace(strings.TrimPrefix(text, prefix)))
}
