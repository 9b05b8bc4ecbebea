package facility

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgrestest"
)

const sitesCSV = `code,name,zone,rabies_waiting_days,required_vaccines,floor_percent,clean_down_days,rules_note`

const heatCSV = `,heat_closed_f,heat_sensitive_f`

// files holds every kind in import order as an export writes it.
var files = []struct {
	kind  string
	lines []string
}{
	{KindSites, []string{sitesCSV + heatCSV,
		"HILL,Hillside Yard,America/Denver,28,rabies|distemper|bordetella,120,1,county: ask first,82,70",
		"LAKE,Lake House,Europe/London,14,,100,0,,,",
	}},
	{KindRuns, []string{"site,run,row,length_mm,width_mm,height_mm,isolation",
		"HILL,A2,A,2400,1200,1800,no",
		"HILL,A10,A,3000,1500,2000,yes",
		"LAKE,A2,,2400,1200,1800,no",
	}},
	{KindClosures, []string{"site,run,first_day,last_day,reason",
		"HILL,A2,2027-03-01,2027-03-07,new drains",
		"HILL,A2,2027-03-08,2027-03-08,paint",
		"LAKE,A2,2027-03-01,2027-03-31,new drains",
	}},
	{KindAreas, []string{"site,area,kind,dogs_at_once,outdoors",
		"HILL,north-yard,yard,2,yes",
		"LAKE,hall-1,hall,4,yes",
		"LAKE,quiet,quiet room,1,no",
	}},
	{KindAreaClosures, []string{"site,area,starts,ends,reason",
		"HILL,north-yard,2027-03-14T00:30:00-07:00,2027-03-14T12:00:00-06:00,fence",
		"LAKE,hall-1,2027-03-01T08:00:00Z,2027-03-03T00:00:00Z,paint",
	}},
	{KindPlaces, []string{"site,weekday,intake,handover",
		"HILL,monday,3,0",
		"HILL,sunday,0,5",
		"LAKE,monday,1,1",
	}},
	{KindExceptions, []string{"site,day,intake,handover,note",
		"HILL,2027-03-19,0,0,staff day",
		"LAKE,2027-03-18,5,1,",
	}},
	{KindForecast, []string{"site,hour,temperature,unit,humidity,source",
		"HILL,2027-11-07T01:00:00-06:00,61.0,F,40,county",
		"HILL,2027-11-07T01:00:00-07:00,60.5,F,41,county",
		"LAKE,2027-07-01T14:00:00+01:00,-3.5,C,100,a guess",
	}},
}

func TestPortsComeInImportOrderAndAreSound(t *testing.T) {
	t.Parallel()
	ports := Ports()
	require.Len(t, ports, len(files))
	seen := map[string]bool{}
	for i, p := range ports {
		require.Equal(t, files[i].kind, p.Kind.Name)
		require.NoError(t, p.Kind.Check())
		for _, c := range p.Kind.Columns {
			require.True(t, c.Refers == "" || seen[c.Refers], "%s.%s refers to a kind that comes later", p.Kind.Name, c.Name)
		}
		seen[p.Kind.Name] = true
	}
	for column, outer := range portOf(t, KindClosures).Within {
		require.Equal(t, [2]string{"run", "site"}, [2]string{column, outer})
	}
}

// TestWhatWasImportedIsExported also imports everything a second time, which must change nothing.
func TestWhatWasImportedIsExported(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	tx, err := pool.Begin(t.Context())
	require.NoError(t, err)
	defer func() { require.NoError(t, tx.Rollback(t.Context())) }()
	for range 2 {
		for _, f := range files {
			require.Empty(t, importCSV(t, tx, f.kind, f.lines...))
			require.Equal(t, f.lines, exportCSV(t, tx, f.kind))
		}
	}
	sites, err := ListSites(t.Context(), tx)
	require.NoError(t, err)
	require.Equal(t, []string{}, sites[1].RequiredVaccines)
}

func TestRowsAreChecked(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	tx, err := pool.Begin(t.Context())
	require.NoError(t, err)
	defer func() { require.NoError(t, tx.Rollback(t.Context())) }()

	wrong := importCSV(t, tx, KindSites, sitesCSV,
		"GOOD,Good,Europe/Paris,30,,100,0,", "BAD,Bad,Mars/Dome,21,,100,0,", "HERE,Here,Local,14,,100,0,")
	require.Len(t, wrong, 3)
	require.Equal(t, []any{3, "zone", "Mars/Dome"}, []any{wrong[0].Line, wrong[0].Column, wrong[0].Value})
	require.Equal(t, []any{3, "rabies_waiting_days", "21"}, []any{wrong[1].Line, wrong[1].Column, wrong[1].Value})
	require.Equal(t, []any{4, "zone", "Local"}, []any{wrong[2].Line, wrong[2].Column, wrong[2].Value})
	require.Equal(t, []string{sitesCSV + heatCSV, "GOOD,Good,Europe/Paris,30,,100,0,,,"}, exportCSV(t, tx, KindSites))

	runs := "site,run,row,length_mm,width_mm,height_mm,isolation"
	require.Empty(t, importCSV(t, tx, KindRuns, runs, "GOOD,1,,2400,1200,1800,no", "GOOD,2,,2400,1200,1800,no"))
	closures := "site,run,first_day,last_day,reason"
	require.Empty(t, importCSV(t, tx, KindClosures, closures, "GOOD,1,2027-03-10,2027-03-15,drains"))
	wrong = importCSV(t, tx, KindClosures, closures,
		"GOOD,1,2027-03-05,2027-03-04,backwards",
		"GOOD,1,2027-03-08,2027-03-10,overlaps what is there",
		"GOOD,1,2027-03-16,2027-03-16,touches only",
		"GOOD,1,2027-04-01,2027-04-03,fine",
		"GOOD,1,2027-04-03,2027-04-04,overlaps the row before",
		"GOOD,2,2027-04-03,2027-04-04,another run")
	var found []string
	for _, w := range wrong {
		found = append(found, w.Column+" "+w.Value+" "+w.Rule)
		require.NotEmpty(t, w.Remedy)
	}
	require.Equal(t, []string{
		"last_day 2027-03-04 is before the first day",
		"first_day 2027-03-08 overlaps the closure from 2027-03-10 to 2027-03-15 of the same run",
		"first_day 2027-04-03 overlaps the closure from 2027-04-01 to 2027-04-03 of the same run",
	}, found)
	require.Equal(t, []string{closures,
		"GOOD,1,2027-03-10,2027-03-15,drains", "GOOD,1,2027-03-16,2027-03-16,touches only", "GOOD,1,2027-04-01,2027-04-03,fine",
		"GOOD,2,2027-04-03,2027-04-04,another run",
	}, exportCSV(t, tx, KindClosures))
}

func TestClosuresAreReplacedByRunAndFirstDay(t *testing.T) {
	t.Parallel()
	const header = "site,run,first_day,last_day,reason"
	start := []string{header, "S,1,2027-03-01,2027-03-05,one", "S,1,2027-03-10,2027-03-15,two"}
	tests := []struct {
		name  string
		lines []string
		want  []string
		wrong []int // lines
	}{
		{"the same again", start, start, nil},
		{"shorter and longer at once", []string{header, "S,1,2027-03-01,2027-03-02,one", "S,1,2027-03-03,2027-03-09,new"},
			[]string{header, "S,1,2027-03-01,2027-03-02,one", "S,1,2027-03-03,2027-03-09,new", "S,1,2027-03-10,2027-03-15,two"}, nil},
		{"a new one takes days that a replaced one, later in the file, gives up",
			[]string{header, "S,1,2027-03-03,2027-03-09,new", "S,1,2027-03-01,2027-03-02,one"},
			[]string{header, "S,1,2027-03-01,2027-03-02,one", "S,1,2027-03-03,2027-03-09,new", "S,1,2027-03-10,2027-03-15,two"}, nil},
		{"a replacement that is wrong leaves the old one, which then stands in the way of another row",
			[]string{header, "S,1,2027-03-04,2027-03-05,inside the old one", "S,1,2027-03-01,2027-03-11,runs into two"},
			start, []int{2, 3}},
		{"two replacements that run into each other leave one old one",
			[]string{header, "S,1,2027-03-01,2027-03-10,one", "S,1,2027-03-10,2027-03-12,two"},
			start, []int{2, 3}},
	}
	pool := postgrestest.Database(t)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tx, err := pool.Begin(t.Context())
			require.NoError(t, err)
			defer func() { require.NoError(t, tx.Rollback(t.Context())) }()
			require.Empty(t, importCSV(t, tx, KindSites, sitesCSV, "S,S,Europe/Paris,30,,100,0,"))
			require.Empty(t, importCSV(t, tx, KindRuns, "site,run,row,length_mm,width_mm,height_mm,isolation", "S,1,,2400,1200,1800,no"))
			require.Empty(t, importCSV(t, tx, KindClosures, start...))
			var lines []int
			for _, w := range importCSV(t, tx, KindClosures, tt.lines...) {
				lines = append(lines, w.Line)
			}
			require.Equal(t, tt.wrong, lines)
			require.Equal(t, tt.want, exportCSV(t, tx, KindClosures))
		})
	}
}
