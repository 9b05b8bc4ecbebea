package sheet_test

import (
	"strings"
	"testing"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/sheet"
	"github.com/stretchr/testify/require"
)

func TestForms(t *testing.T) {
	t.Parallel()
	whole := sheet.Column{Form: sheet.FormWhole}
	bounded := sheet.Column{Form: sheet.FormWhole, Min: 7, Max: 42}
	least := sheet.Column{Form: sheet.FormWhole, Min: 3}
	tenths := sheet.Column{Form: sheet.FormTenths}
	kilos := sheet.Column{Form: sheet.FormTenths, Min: 5, Max: 1200}
	yesno := sheet.Column{Form: sheet.FormYesNo}
	choice := sheet.Column{Form: sheet.FormChoice, OneOf: []string{"normal", "high", "returning guest"}}
	code := sheet.Column{Form: sheet.FormCode}
	text := sheet.Column{Form: sheet.FormText}
	short := sheet.Column{Form: sheet.FormText, Min: 2, Max: 5}
	clock := sheet.Column{Form: sheet.FormClock}
	cases := []struct {
		col  sheet.Column
		cell string
		want string // canonical text; "!" and a part of the fault when it is refused
	}{
		{whole, "12", "12"}, {whole, "+12", "12"}, {whole, "-3", "-3"}, {whole, "−3", "-3"}, {whole, "1.0", "1"},
		{whole, "12,0", "12"}, {whole, "007", "7"}, {whole, " 5 ", "5"}, {whole, "'5", "5"}, {whole, "\u00a05", "5"}, {whole, "0", "0"},
		{whole, "1.5", "!is not a whole number"}, {whole, "twelve", "!is not a whole number"}, {whole, "1e3", "!is not a whole number"},
		{whole, "1,200", "!thousands"}, {whole, "1.000", "!thousands"}, {whole, "1 200", "!as 1200"}, {whole, "1.200.000", "!as 1200000"},
		{whole, "12345678901234567", "!too large"}, {whole, "5.", "!is not a whole number"}, {whole, ".", "!whole"}, {whole, "-", "!whole"}, {whole, "--5", "!whole"},
		{whole, "#N/A", "!formula that failed"}, {whole, "####", "!too narrow"}, {whole, "5 kg", "!is not a whole number"},
		{bounded, "7", "7"}, {bounded, "42", "42"}, {bounded, "6", "!is below 7: write a number from 7 to 42"}, {bounded, "43", "!is above 42"},
		{least, "1000000", "1000000"}, {least, "2", "!write a number of 3 or more"},
		{tenths, "2.5", "2.5"}, {tenths, "2", "2.0"}, {tenths, "2,5", "2.5"}, {tenths, "2.50", "2.5"}, {tenths, "-0.5", "-0.5"}, {tenths, "0.0", "0.0"},
		{tenths, "2.55", "!more than one decimal place"}, {tenths, "2,500", "!thousands"}, {tenths, "abc", "!is not a number"}, {tenths, ".5", "!is not a number"},
		{kilos, "0.5", "0.5"}, {kilos, "0.4", "!is below 0.5: write a number from 0.5 to 120.0"}, {kilos, "120.1", "!is above 120.0"},
		{yesno, "yes", "yes"}, {yesno, "Y", "yes"}, {yesno, "TRUE", "yes"}, {yesno, "1", "yes"}, {yesno, "x", "yes"}, {yesno, "X", "yes"},
		{yesno, "no", "no"}, {yesno, "n", "no"}, {yesno, "False", "no"}, {yesno, "0", "no"}, {yesno, "maybe", "!is neither yes nor no"}, {yesno, "2", "!write yes or no"},
		{choice, "normal", "normal"}, {choice, "HIGH", "high"}, {choice, "Returning_Guest", "returning guest"},
		{choice, "normel", "!did you mean normal?"}, {choice, "purple", "!write one of normal, high, returning guest"},
		{code, "Oak-1", "Oak-1"}, {code, "  rex 2 ", "rex 2"}, {code, strings.Repeat("ä", 40), strings.Repeat("ä", 40)},
		{code, strings.Repeat("a", 41), "!has 41 characters"}, {code, "a\nb", "!line break"}, {code, "a\u00adb", "!can't be seen"}, {code, "a|b", "!separates values"},
		{code, "9.85112E+14", "!shortened"}, {code, "1E+15", "!shortened"}, {code, "985112345678903", "985112345678903"}, {code, "'00123", "00123"}, {code, "00123", "00123"},
		{text, "likes balls", "likes balls"}, {text, "two\r\nlines", "two\nlines"}, {text, "a\u00a0b", "a b"}, {text, "\ufeffzero\u200bwidth", "zerowidth"},
		{text, "'t Hof", "'t Hof"}, {text, "'90s music", "'90s music"}, {text, "'=1+1", "=1+1"}, {text, "bell \a", "!can't be shown (U+0007)"},
		{text, "say \"hi\"", "say \"hi\""}, {text, strings.Repeat("a", 32768), "!more than the 32767"}, {text, "#REF!", "!formula that failed"},
		{short, "abcde", "abcde"}, {short, "äöüßé", "äöüßé"}, {short, "abcdef", "!has 6 characters, more than 5"}, {short, "a", "!fewer than 2"},
		{clock, "09:30", "09:30"}, {clock, "9:30", "09:30"}, {clock, "9.30", "09:30"}, {clock, "0930", "09:30"}, {clock, "09:30:00", "09:30"},
		{clock, "9:30 am", "09:30"}, {clock, "9:30 PM", "21:30"}, {clock, "12:05 a.m.", "00:05"}, {clock, "12 pm", "12:00"}, {clock, "23:59", "23:59"}, {clock, "00:00", "00:00"},
		{clock, "24:00", "!is not a time of day"}, {clock, "9:60", "!time"}, {clock, "9", "!time"}, {clock, "13:00 pm", "!time"}, {clock, "0 am", "!time"}, {clock, "09:30:15", "!time"}, {clock, "noonish", "!time"}, {clock, "9:5", "!time"},
	}
	for _, c := range cases {
		t.Run(c.col.Form.String()+" "+c.cell[:min(len(c.cell), 20)], func(t *testing.T) {
			t.Parallel()
			table := one(t, c.col, c.cell, sheet.Options{})
			requireCell(t, table, c.want)
		})
	}
}

func requireCell(t *testing.T, table sheet.Table, want string) {
	t.Helper()
	requireConsistent(t, table)
	if fault, refused := strings.CutPrefix(want, "!"); refused {
		require.Len(t, table.Faults, 1, "the cell was accepted")
		require.Contains(t, table.Faults[0].String(), fault)
		require.Equal(t, "cell", table.Faults[0].Column)
		require.Equal(t, 2, table.Faults[0].Line)
		return
	}
	require.Empty(t, table.Faults)
	require.Equal(t, want, table.Rows[0].Text("cell"))
	require.Equal(t, []string{want}, table.Rows[0].List("cell"))
}

func TestDays(t *testing.T) {
	t.Parallel()
	iso, dmy, mdy := sheet.DatesISO, sheet.DatesDMY, sheet.DatesMDY
	cases := []struct {
		order sheet.DateOrder
		cell  string
		want  string
	}{
		{iso, "2027-03-14", "2027-03-14"}, {iso, "2027/03/14", "2027-03-14"}, {iso, "2027.3.14", "2027-03-14"}, {iso, "20270314", "2027-03-14"},
		{iso, "14.03.2027", "2027-03-14"}, {iso, "3.4.2027", "2027-04-03"}, {iso, "14 Mar 2027", "2027-03-14"}, {iso, "14-Mar-2027", "2027-03-14"},
		{iso, "March 14 2027", "2027-03-14"}, {iso, "March 14, 2027", "2027-03-14"}, {iso, "14th of March 2027", "2027-03-14"}, {iso, "1st Sept 2027", "2027-09-01"},
		{iso, "Sunday, 14 March 2027", "2027-03-14"}, {iso, "Sun 14 Mar 2027", "2027-03-14"}, {iso, "Monday, 14 March 2027", "!2027-03-14 is a Sunday"}, {iso, "2027 Mar 14", "2027-03-14"},
		{iso, "14-Mar-27", "2027-03-14"}, {iso, "MAY 5 2027", "2027-05-05"}, {iso, "2027-03-14T00:00:00Z", "2027-03-14"}, {iso, "2027-03-14 00:00", "2027-03-14"},
		{iso, "3/14/2027 12:00:00 AM", "2027-03-14"}, {iso, "2027-03-14 09:30", "!holds a time"}, {iso, "14 Mar 2027 9:30 am", "!holds a time"},
		{iso, "3/14/2027", "2027-03-14"}, {iso, "14/3/2027", "2027-03-14"}, {iso, "14-03-2027", "2027-03-14"}, {iso, "5/5/2027", "2027-05-05"},
		{iso, "3/4/2027", "!can mean 2027-04-03 or 2027-03-04: write the one that is meant, or say how this file writes dates with --dates dmy or --dates mdy"},
		{iso, "03-04-2027", "!can mean"}, {iso, "14/15/2027", "!is not a date"}, {iso, "0/4/2027", "!is not a date"},
		{iso, "31.02.2027", "!is not a date: write it as 2027-02-28"}, {iso, "2028-02-30", "!write it as 2028-02-29"}, {iso, "2027-02-29", "!write it as 2027-02-28"},
		{iso, "2027-13-01", "!is not a date: write a date as 2027-03-14"}, {iso, "2027-00-10", "!is not a date"}, {iso, "0227-03-14", "!outside 1950 to 2199"}, {iso, "1900-01-05", "!outside"},
		{iso, "14/3/27", "!year of two digits"}, {iso, "27-03-14", "!year of two digits"}, {iso, "soon", "!is not a date"}, {iso, "14-03/2027", "!is not a date"},
		{iso, "March 2027", "!is not a date"}, {iso, "14 Smarch 2027", "!is not a date"}, {iso, "46095", "!is not a date"}, {iso, "9:30", "!is not a date"}, {iso, "2027-W11-7", "!is not a date"},
		{iso, "14 Mar Apr 2027", "!is not a date"}, {iso, "1 2 3 4", "!is not a date"}, {iso, strings.Repeat("1/", 50), "!is not a date"}, {iso, "３/14/2027", "!is not a date"},
		{dmy, "3/4/2027", "2027-04-03"}, {dmy, "03-04-2027", "2027-04-03"}, {dmy, "3/14/2027", "!has no month 14 when read day first"}, {dmy, "2027-03-14", "2027-03-14"},
		{mdy, "3/4/2027", "2027-03-04"}, {mdy, "14/3/2027", "!has no month 14 when read month first"}, {mdy, "03.04.2027", "2027-03-04"}, {mdy, "14 Mar 2027", "2027-03-14"},
	}
	for _, c := range cases {
		t.Run(c.order.String()+" "+c.cell[:min(len(c.cell), 30)], func(t *testing.T) {
			t.Parallel()
			table := one(t, sheet.Column{Form: sheet.FormDay}, c.cell, sheet.Options{Dates: c.order})
			requireCell(t, table, c.want)
			if !strings.HasPrefix(c.want, "!") {
				require.Equal(t, calendar.MustDate(c.want), table.Rows[0].Day("cell"))
			}
		})
	}
}

func TestShortYearsAreNotedOnce(t *testing.T) {
	t.Parallel()
	table := read(t, "f.csv", "born\n14-Mar-27\n15-Mar-27\n", small(sheet.Column{Name: "born", Form: sheet.FormDay}), sheet.Options{})
	require.Equal(t, []string{"column 'born' has years of two digits; they were read as 20xx"}, table.Notes)
	require.Len(t, table.Rows, 2)
}

func TestParseDateOrder(t *testing.T) {
	t.Parallel()
	for _, o := range []sheet.DateOrder{sheet.DatesISO, sheet.DatesDMY, sheet.DatesMDY} {
		got, err := sheet.ParseDateOrder(strings.ToUpper(o.String()))
		require.NoError(t, err)
		require.Equal(t, o, got)
	}
	_, err := sheet.ParseDateOrder("ydm")
	require.ErrorContains(t, err, "write iso, dmy (day first) or mdy (month first)")
}

func TestLists(t *testing.T) {
	t.Parallel()
	days := sheet.Column{Form: sheet.FormDay, Many: true}
	codes := sheet.Column{Form: sheet.FormCode, Many: true}
	notes := sheet.Column{Form: sheet.FormText, Many: true}
	cases := []struct {
		col  sheet.Column
		cell string
		want []string
	}{
		{days, "2027-03-14; 15.03.2027|16 Mar 2027", []string{"2027-03-14", "2027-03-15", "2027-03-16"}},
		{codes, "oak", []string{"oak"}},
		{codes, " oak ;; elm | ", []string{"oak", "elm"}},
		{notes, sheet.List("a;b", `c\`, "", "d|e", `C:\dir`), []string{"a;b", `c\`, "d|e", `C:\dir`}},
		{notes, `C:\dir`, []string{`C:\dir`}},
	}
	for _, c := range cases {
		table := one(t, c.col, c.cell, sheet.Options{})
		require.Empty(t, table.Faults)
		require.Equal(t, c.want, table.Rows[0].List("cell"))
		require.Equal(t, sheet.List(c.want...), table.Rows[0].Text("cell"))
	}
	bad := one(t, days, "2027-03-14;tomorrow", sheet.Options{})
	require.Contains(t, bad.Faults[0].Rule, `holds "tomorrow", which is not a date`)
	empty := one(t, codes, ";|", sheet.Options{})
	require.Contains(t, empty.Faults[0].Rule, "separators and no value")
}

func TestRowAccessors(t *testing.T) {
	t.Parallel()
	k := requests()
	table := read(t, "requests.csv", "code,dog,wished,nights,weight,call at,Deposit,priority,sites,note\n"+
		"R-1,D-7,2027-03-14,21,24.5,9:30,x,HIGH,oak;elm,likes balls\nR-2,D-8,2027-03-15,14,,,,,,\n", k, sheet.Options{})
	require.Empty(t, table.Faults)
	r := table.Rows[0]
	require.Equal(t, 2, r.Line)
	require.Equal(t, "R-1", r.Key())
	require.Equal(t, "D-7", r.Text("dog"))
	require.Equal(t, calendar.MustDate("2027-03-14"), r.Day("wished"))
	require.Equal(t, 21, r.Int("nights"))
	require.Equal(t, 245, r.Int("weight"))
	require.Equal(t, calendar.MustClock("09:30"), r.Clock("call_at"))
	require.True(t, r.Yes("deposit"))
	require.Equal(t, "high", r.Text("priority"))
	require.Equal(t, []string{"oak", "elm"}, r.List("sites"))
	require.True(t, r.Has("note"))
	require.Equal(t, "9:30", r.Raw()[5])

	empty := table.Rows[1]
	require.False(t, empty.Has("weight"))
	require.Zero(t, empty.Int("weight"))
	require.False(t, empty.Yes("deposit"))
	require.Nil(t, empty.List("sites"))
	require.Empty(t, empty.Text("priority"))
	require.Equal(t, calendar.Clock(0), empty.Clock("call_at"))

	require.PanicsWithValue(t, `sheet: kind "requests" has no column "colour"`, func() { r.Text("colour") })
	require.Panics(t, func() { r.Day("nights") })
	require.Panics(t, func() { r.Int("sites") })
	require.Panics(t, func() {
		_, _ = sheet.Read("f.csv", []byte("a\n"), sheet.Kind{Columns: []sheet.Column{{Name: "a"}}, Key: []string{"b"}}, sheet.Options{})
	})
}

func TestKindCheck(t *testing.T) {
	t.Parallel()
	require.NoError(t, requests().Check())
	cases := map[string]sheet.Kind{
		"can't be told apart":           small(sheet.Column{Name: "arrival day"}, sheet.Column{Name: "Arrival_Day"}),
		"is not among the columns":      {Name: "x", Columns: []sheet.Column{{Name: "a"}}, Key: []string{"b"}},
		"a choice, and only a choice":   small(sheet.Column{Name: "a", Form: sheet.FormChoice}),
		"kept for the reasons":          small(sheet.Column{Name: "Reasons"}),
		"the example \"soon\" is not":   small(sheet.Column{Name: "a", Form: sheet.FormDay, Example: "soon"}),
		"least value 5 (Min) is above":  small(sheet.Column{Name: "a", Form: sheet.FormWhole, Min: 5, Max: 3}),
		"must have 1 to 31 characters":  {Name: "", Columns: []sheet.Column{{Name: "a"}}},
		"it must have 1 to 199 columns": {Name: "x"},
		"needs a name of letters":       small(sheet.Column{Name: " a"}),
		"repeats another":               small(sheet.Column{Name: "a", Form: sheet.FormChoice, OneOf: []string{"on", "ON"}}),
		"holds several values":          {Name: "x", Columns: []sheet.Column{{Name: "a", Many: true}}, Key: []string{"a"}},
		"form 99 is not known":          small(sheet.Column{Name: "a", Form: 99}),
	}
	for want, k := range cases {
		require.ErrorContains(t, k.Check(), want)
	}
}
