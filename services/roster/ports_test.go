package roster

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgrestest"
)

const (
	trainersCSV = "code,name,email,home_site,minutes_a_day,most_dogs,care_classes,heel,hold,recall,distance,nerves,reactivity"
	shiftsCSV   = "trainer,weekday,site,starts,ends,meal_minutes"
	absencesCSV = "trainer,first_day,last_day,kind"
	loansCSV    = "trainer,site,first_day,last_day"
	rulesCSV    = "site,daily_rest_minutes,meal_after_minutes,meal_minutes,weekly_minutes,weekly_rest_minutes,citation"
)

// files holds every kind in import order as an export writes it.
var files = []struct {
	kind  string
	lines []string
}{
	{KindTrainers, []string{trainersCSV,
		"ANA,Ana Reyes,ana@example.org,HILL,360,6,open|guarded|restricted,3,2,1,,2,3",
		"BEN,Ben Ode,,LAKE,0,0,,,,,,,",
	}},
	{KindShifts, []string{shiftsCSV,
		"ANA,monday,HILL,08:00,16:30,30",
		"ANA,sunday,LAKE,20:00,04:00,180",
		"BEN,wednesday,LAKE,00:00,00:00,0",
	}},
	{KindAbsences, []string{absencesCSV,
		"ANA,2027-03-01,2027-03-07,leave",
		"ANA,2027-03-08,2027-03-08,sickness",
		"BEN,2027-03-01,2027-03-31,duty",
	}},
	{KindLoans, []string{loansCSV,
		"ANA,LAKE,2027-03-10,2027-03-12",
		"BEN,HILL,2027-03-01,2027-03-01",
	}},
	{KindWorkRules, []string{rulesCSV,
		"HILL,660,360,20,2880,1440,staff handbook 4",
		"LAKE,0,0,0,0,0,none: no rule is set",
	}},
}

func TestPortsComeInImportOrderAndAreSound(t *testing.T) {
	t.Parallel()
	ports := Ports(realSites)
	require.Len(t, ports, len(files))
	seen := map[string]bool{kindSites: true}
	for i, p := range ports {
		require.Equal(t, files[i].kind, p.Kind.Name)
		require.NoError(t, p.Kind.Check())
		for _, c := range p.Kind.Columns {
			require.True(t, c.Refers == "" || seen[c.Refers], "%s.%s refers to a kind that comes later", p.Kind.Name, c.Name)
		}
		seen[p.Kind.Name] = true
	}
}

// TestWhatWasImportedIsExported also imports everything a second time, which must change nothing.
func TestWhatWasImportedIsExported(t *testing.T) {
	t.Parallel()
	tx := newTx(t)
	for range 2 {
		for _, f := range files {
			require.Empty(t, importCSV(t, tx, f.kind, f.lines...))
			require.Equal(t, f.lines, exportCSV(t, tx, f.kind))
		}
	}
}

func TestLooseSpellingIsTidied(t *testing.T) {
	t.Parallel()
	tx := newTx(t)
	require.Empty(t, importCSV(t, tx, KindTrainers, trainersCSV, "ANA,Ana,,HILL,360,6,Restricted; open;open,0,,2,,,"))
	require.Equal(t, []string{trainersCSV, "ANA,Ana,,HILL,360,6,open|restricted,,,2,,,"}, exportCSV(t, tx, KindTrainers))
}

func TestAddressesAreCheckedAndNotRepeated(t *testing.T) {
	t.Parallel()
	tx := newTx(t)
	for _, tt := range []struct {
		address string
		ok      bool
	}{
		{"", true}, {"zoe@example.org", true}, {"zoe.reyes+dogs@mail.example.org", true}, {"o'neill@example.org", true},
		{"zoe", false}, {"zoe@", false}, {"zoe reyes@example.org", false}, {"Zoe Reyes <zoe@example.org>", false}, {"a@example.org; b@example.org", false},
	} {
		wrong := importCSV(t, tx, KindTrainers, trainersCSV, `ANA,Ana,"`+tt.address+`",HILL,360,6,open,,,,,,`)
		if tt.ok {
			require.Empty(t, wrong, tt.address)
			continue
		}
		require.Len(t, wrong, 1, tt.address)
		require.Equal(t, []any{2, "email", ""}, []any{wrong[0].Line, wrong[0].Column, wrong[0].Value})
		require.NotContains(t, wrong[0].Rule+wrong[0].Remedy, tt.address)
	}
}

func TestMealsFitIntoTheirShift(t *testing.T) {
	t.Parallel()
	tx := newTx(t)
	newTrainer(t, tx, "ANA")
	wrong := importCSV(t, tx, KindShifts, shiftsCSV,
		"ANA,monday,HILL,08:00,09:00,60", "ANA,tuesday,HILL,08:00,09:00,59", "ANA,wednesday,HILL,23:30,00:30,90", "ANA,thursday,HILL,09:00,09:00,180")
	require.Len(t, wrong, 2)
	for i, line := range []int{2, 4} {
		require.Equal(t, line, wrong[i].Line)
		require.Equal(t, "meal_minutes", wrong[i].Column)
		require.NotEmpty(t, wrong[i].Remedy)
	}
	require.Equal(t, []string{shiftsCSV, "ANA,tuesday,HILL,08:00,09:00,59", "ANA,thursday,HILL,09:00,09:00,180"}, exportCSV(t, tx, KindShifts))
}

// TestSpansAreReplacedByTrainerAndFirstDay runs each case for absences and for loans, which obey the same rules.
func TestSpansAreReplacedByTrainerAndFirstDay(t *testing.T) {
	t.Parallel()
	type span [3]string // trainer, first day, last day
	start := []span{{"ANA", "2027-03-01", "2027-03-05"}, {"ANA", "2027-03-10", "2027-03-15"}, {"BEN", "2027-03-01", "2027-03-31"}}
	tests := []struct {
		name   string
		coming []span
		want   []span
		wrong  map[int]string // line and column
	}{
		{"the same again", start, start, nil},
		{"the last day is before the first", []span{{"ANA", "2027-04-02", "2027-04-01"}}, start, map[int]string{2: "last_day"}},
		{"overlaps what is there", []span{{"ANA", "2027-03-05", "2027-03-06"}}, start, map[int]string{2: "first_day"}},
		{"touches what is there", []span{{"ANA", "2027-03-06", "2027-03-09"}},
			[]span{start[0], {"ANA", "2027-03-06", "2027-03-09"}, start[1], start[2]}, nil},
		{"overlaps another row", []span{{"ANA", "2027-04-01", "2027-04-03"}, {"ANA", "2027-04-03", "2027-04-03"}},
			[]span{start[0], start[1], {"ANA", "2027-04-01", "2027-04-03"}, start[2]}, map[int]string{3: "first_day"}},
		{"takes days that a row below gives up", []span{{"ANA", "2027-03-03", "2027-03-09"}, {"ANA", "2027-03-01", "2027-03-02"}},
			[]span{{"ANA", "2027-03-01", "2027-03-02"}, {"ANA", "2027-03-03", "2027-03-09"}, start[1], start[2]}, nil},
		{"a wrong replacement leaves the old one in the way of another row",
			[]span{{"ANA", "2027-03-04", "2027-03-05"}, {"ANA", "2027-03-01", "2027-03-11"}, {"BEN", "2027-03-01", "2027-03-01"}},
			[]span{start[0], start[1], {"BEN", "2027-03-01", "2027-03-01"}}, map[int]string{2: "first_day", 3: "first_day"}},
	}
	pool := postgrestest.Database(t)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tx := begin(t, pool)
			newTrainer(t, tx, "ANA")
			newTrainer(t, tx, "BEN")
			for kind, line := range map[string]func(s span) string{
				KindAbsences: func(s span) string { return s[0] + "," + s[1] + "," + s[2] + ",duty" },
				KindLoans:    func(s span) string { return s[0] + ",LAKE," + s[1] + "," + s[2] },
			} {
				file := func(spans []span) []string {
					lines := []string{map[string]string{KindAbsences: absencesCSV, KindLoans: loansCSV}[kind]}
					for _, s := range spans {
						lines = append(lines, line(s))
					}
					return lines
				}
				require.Empty(t, importCSV(t, tx, kind, file(start)...))
				got := map[int]string{}
				for _, w := range importCSV(t, tx, kind, file(tt.coming)...) {
					got[w.Line] = w.Column
					require.NotEmpty(t, w.Rule)
					require.NotEmpty(t, w.Remedy)
				}
				if tt.wrong == nil {
					require.Empty(t, got)
				} else {
					require.Equal(t, tt.wrong, got)
				}
				require.Equal(t, file(tt.want), exportCSV(t, tx, kind))
			}
		})
	}
}
