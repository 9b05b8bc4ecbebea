package sheet

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Raw values as workbooks have them; 46460 is 2027-03-14 (days since 1899-12-30).
func TestFromCell(t *testing.T) {
	t.Parallel()
	cases := []struct {
		raw  string
		form Form
		date bool
		y04  bool
		want string
		rule string
	}{
		{raw: "46460", form: FormDay, want: "2027-03-14"},
		{raw: "44998", form: FormDay, y04: true, want: "2027-03-14"},
		{raw: "46460.999999", form: FormDay, want: "2027-03-15"},
		{raw: "46460.25", form: FormDay, want: "2027-03-14 06:00"},
		{raw: "18264", form: FormDay, want: "1950-01-01"},
		{raw: "18263", form: FormDay, want: "18263"},
		{raw: "60", form: FormDay, want: "60"},
		{raw: "1E+300", form: FormDay, want: "1E+300"},
		{raw: "-46460", form: FormDay, want: "-46460"},
		{raw: "NaN", form: FormDay, want: "NaN"},
		{raw: "2027-03-14", form: FormDay, want: "2027-03-14"},
		{raw: "0.39583333333333331", form: FormClock, want: "09:30"},
		{raw: "46460.395833333336", form: FormClock, date: true, want: "2027-03-14 09:30"},
		{raw: "0.9999999", form: FormClock, want: "0.9999999"},
		{raw: "2.9999999999999996", form: FormWhole, want: "3"},
		{raw: "1E+3", form: FormWhole, want: "1000"},
		{raw: "1.5", form: FormWhole, want: "1.5"},
		{raw: "2.2999999999999998", form: FormTenths, want: "2.3"},
		{raw: "0.30000000000000004", form: FormTenths, want: "0.3"},
		{raw: "1E5", form: FormCode, want: "1E5"},
		{raw: "985112345678903", form: FormCode, want: "985112345678903"},
		{raw: "1.1000000000000001", form: FormText, want: "1.1"},
		{raw: "007", form: FormWhole, want: "007"},
		{raw: "Inf", form: FormWhole, want: "Inf"},
		{raw: "0x10", form: FormWhole, want: "0x10"},
		{raw: "46460", form: FormText, date: true, want: "2027-03-14"},
		{raw: "46460", form: FormCode, date: true, want: "46460", rule: "was turned into a date by the spreadsheet program (2027-03-14)"},
		{raw: "0.5", form: FormCode, date: true, want: "0.5", rule: "was turned into a date by the spreadsheet program (a time)"},
	}
	for _, c := range cases {
		got, p := fromCell(c.raw, c.form, c.date, c.y04)
		require.Equal(t, c.want, got, "%+v", c)
		if c.rule == "" {
			require.Nil(t, p, "%+v", c)
		} else {
			require.Equal(t, c.rule, p.rule)
		}
	}
}

func TestIsDateFormat(t *testing.T) {
	t.Parallel()
	for code, want := range map[string]bool{
		"yyyy-mm-dd": true, "d.m.yy": true, "[$-407]d. mmmm yyyy": true, "h:mm": true, "[h]:mm": true, `"day" 0`: false,
		"General": false, "0.00": false, "#,##0 [$€-407]": false, `0.0" kg"`: false, "[Red]-0": false, `0\d`: false, "@": false, "0.00E+00": false,
	} {
		require.Equal(t, want, isDateFormat(code), code)
	}
}

// What guard adds, unguard takes away; what guard leaves, unguard leaves.
func TestGuard(t *testing.T) {
	t.Parallel()
	cases := map[string]string{
		"=1+1": "'=1+1", "+49 30": "'+49 30", "-x": "'-x", "@home": "'@home", "＝1": "'＝1",
		"-5": "-5", "+5": "+5", "-5.5": "-5.5", "'=1": "''=1", "''=1": "'''=1", "'007": "''007", "'": "'", "''": "''",
		"'t Hof": "'t Hof", "'90s music": "'90s music", "": "", "plain": "plain", "-": "'-", "-5.5.5": "'-5.5.5",
	}
	for in, want := range cases {
		require.Equal(t, want, guard(in))
		require.Equal(t, in, unguard(guard(in)))
		require.Equal(t, in, unguard(guardText(in)))
	}
	require.Equal(t, "007", unguard("'007"))
	require.Equal(t, "=1", guardText("=1"))
}

func TestColumnLetters(t *testing.T) {
	t.Parallel()
	for at, want := range map[int]string{0: "A", 25: "Z", 26: "AA", 51: "AZ", 52: "BA", 701: "ZZ", 702: "AAA", 16383: "XFD"} {
		require.Equal(t, want, columnLetters(at))
	}
}

func TestDistance(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"name", "nmae", 1}, {"name", "name", 0}, {"wished", "wisht", 2}, {"kitten", "sitting", 3}} {
		require.Equal(t, c.want, distance(c.a, c.b))
		require.Equal(t, c.want, distance(c.b, c.a))
	}
}
