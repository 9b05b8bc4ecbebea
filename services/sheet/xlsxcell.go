package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// fromCell turns the raw value of a cell into text for a column of the given
// form. Workbooks hold dates as days since 1900 or 1904 and times as parts of a
// day, and show numbers of up to 17 digits as people typed them.
func fromCell(raw string, form Form, dateStyle, epoch1904 bool) (string, *problem) {
	v, err := strconv.ParseFloat(raw, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) || !looksNumeric(raw) {
		return raw, nil
	}
	switch form {
	case FormDay:
		if text, ok := serialDay(v, epoch1904); ok {
			return text, nil
		}
	case FormClock:
		if text, ok := serialClock(v, dateStyle, epoch1904); ok {
			return text, nil
		}
	case FormText:
		if dateStyle {
			if text, ok := serialDay(v, epoch1904); ok {
				return text, nil
			}
		}
	default:
		if dateStyle {
			text, ok := serialDay(v, epoch1904)
			if !ok {
				text = "a time"
			}
			return raw, wrong(fmt.Sprintf("was turned into a date by the spreadsheet program (%s)", text),
				"format the column as text and write the value again")
		}
	}
	return plainNumber(raw, v, form), nil
}

// looksNumeric keeps words that ParseFloat knows, such as Inf and 0x1p4, out.
func looksNumeric(s string) bool {
	return strings.Trim(s, "0123456789+-.eE") == "" && strings.ContainsAny(s, "0123456789")
}

// plainNumber takes the noise off a number: 2.2999999999999998 was typed as
// 2.3, and 1E3 is 1000. A code or text that only looks like a number keeps its
// spelling.
func plainNumber(raw string, v float64, form Form) string {
	numeric := form == FormWhole || form == FormTenths
	if !numeric && (len(raw) < 17 || !strings.Contains(raw, ".") || strings.ContainsAny(raw, "eE")) {
		return raw
	}
	if numeric && math.Abs(v) >= 1e15 {
		return raw
	}
	short, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 15, 64), 64)
	if err != nil {
		return raw
	}
	text := strconv.FormatFloat(short, 'f', -1, 64)
	if strings.ContainsAny(raw, ".eE") && (numeric || len(text) < len(raw)) {
		return text
	}
	return raw
}

// serialDay turns a day number into text. Day 60 of the 1900 system is the 29th
// of February 1900, which there never was; the days before it are one off. They
// lie far outside the years that a date may have, so only later ones convert.
func serialDay(v float64, epoch1904 bool) (string, bool) {
	days := math.Floor(v)
	minutes := math.Round((v - days) * 24 * 60)
	if minutes == 24*60 {
		days, minutes = days+1, 0
	}
	zero := time.Date(1899, time.December, 30, 0, 0, 0, 0, time.UTC)
	if epoch1904 {
		zero = time.Date(1904, time.January, 1, 0, 0, 0, 0, time.UTC)
	}
	if days < 1 || days > 120_000 {
		return "", false
	}
	d := zero.AddDate(0, 0, int(days))
	if d.Year() < firstYear || d.Year() > lastYear {
		return "", false
	}
	text := d.Format(time.DateOnly)
	if minutes != 0 {
		text += " " + clockText(int64(minutes))
	}
	return text, true
}

// serialClock turns the part of a day into a time of day; with a date before it
// the text has both, which is then a fault.
func serialClock(v float64, dateStyle, epoch1904 bool) (string, bool) {
	if v >= 1 && dateStyle {
		return serialDay(v, epoch1904)
	}
	minutes := v * 24 * 60
	if v < 0 || v >= 1 || math.Abs(minutes-math.Round(minutes)) > 1e-3 || math.Round(minutes) > 24*60-1 {
		return "", false
	}
	return clockText(int64(math.Round(minutes))), true
}
