package facility

import (
	"fmt"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

func TestSites(t *testing.T) {
	t.Parallel()
	tx := postgrestest.Tx(t)
	second, first := newSite(t, tx, "B"), newSite(t, tx, "A")

	found, err := FindSite(t.Context(), tx, first.Code)
	require.NoError(t, err)
	require.Equal(t, first, found)

	// The same code under another ID updates the site and keeps its ID.
	changed := Site{ID: ids.SiteID(uuid.New()), Code: first.Code, Name: "New name", Zone: "Europe/London", RabiesWaitingDays: 14,
		RequiredVaccines: []string{"rabies", "distemper"}, FloorPercent: 150, CleanDownDays: 2, RulesNote: "by-law 7"}
	require.NoError(t, putSites(t.Context(), tx, []Site{changed}))
	changed.ID = first.ID
	all, err := ListSites(t.Context(), tx)
	require.NoError(t, err)
	require.Equal(t, []Site{changed, second}, all)

	codes, err := SiteCodes(t.Context(), tx)
	require.NoError(t, err)
	require.Equal(t, map[string]uuid.UUID{first.Code: first.ID.UUID(), second.Code: second.ID.UUID()}, codes)

	_, err = FindSite(t.Context(), tx, "NOWHERE")
	require.ErrorIs(t, err, apperr.NotFound)
	require.Equal(t, "SITE_UNKNOWN", apperr.ReasonOf(err))
}

func TestRuns(t *testing.T) {
	t.Parallel()
	tx := postgrestest.Tx(t)
	lake, hill := newSite(t, tx, "L"), newSite(t, tx, "H")
	l1, a10, a2 := newRun(t, tx, lake, "1"), newRun(t, tx, hill, "A10"), newRun(t, tx, hill, "A2")
	for _, c := range []Closure{
		{RunID: a2.ID, Days: days("2027-04-01", "2027-04-01"), Reason: "paint"},
		{RunID: a2.ID, Days: days("2027-03-01", "2027-03-31"), Reason: "drains"},
	} {
		c.ID = ids.ClosureID(uuid.New())
		require.NoError(t, insertClosure(t.Context(), tx, c))
	}

	// The same site and code under another ID updates the run and keeps its ID and closures.
	changed := Run{ID: ids.RunID(uuid.New()), SiteID: hill.ID, Code: "A2", Row: "B", LengthMM: 3000, WidthMM: 2000, HeightMM: 2500, Isolation: true}
	require.NoError(t, putRuns(t.Context(), tx, []Run{changed}))
	changed.ID = a2.ID

	runs, err := ListRuns(t.Context(), tx)
	require.NoError(t, err)
	require.Len(t, runs, 3)
	require.Equal(t, []string{"[2027-03-01,2027-04-01) drains", "[2027-04-01,2027-04-02) paint"}, closuresOf(t, tx, a2), "in order")
	require.True(t, runs[0].ClosedOn(calendar.MustDate("2027-04-01")))
	require.False(t, runs[0].ClosedOn(calendar.MustDate("2027-04-02")))
	require.False(t, runs[1].ClosedOn(calendar.MustDate("2027-04-01")))
	runs[0].Closures = nil
	require.Equal(t, []Run{changed, a10, l1}, runs, "by site, A2 before A10")

	codes, err := RunCodes(t.Context(), tx)
	require.NoError(t, err)
	require.Equal(t, map[string]uuid.UUID{hill.Code + "/A2": a2.ID.UUID(), hill.Code + "/A10": a10.ID.UUID(), lake.Code + "/1": l1.ID.UUID()}, codes)
}

func TestRunClassFollowsFromItsFloor(t *testing.T) {
	t.Parallel()
	// Thresholds are our own (floor.go): 1.5, 2.5 and 4 square metres.
	for _, tt := range []struct {
		length, width int
		want          Class
	}{{1000, 1499, ClassS}, {1000, 1500, ClassM}, {2500, 1000, ClassL}, {2000, 2000, ClassXL}, {20000, 20000, ClassXL}} {
		require.Equal(t, tt.want, Run{LengthMM: tt.length, WidthMM: tt.width, HeightMM: 1800}.Class(), "%d by %d", tt.length, tt.width)
	}
}

func TestClosuresDoNotOverlap(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, first, last string
		clash             bool
	}{
		{"the same days", "2027-03-10", "2027-03-15", true},
		{"its first day", "2027-03-01", "2027-03-10", true},
		{"its last day", "2027-03-15", "2027-03-20", true},
		{"inside", "2027-03-12", "2027-03-12", true},
		{"around", "2027-03-01", "2027-03-30", true},
		{"the days before", "2027-03-01", "2027-03-09", false},
		{"the days after", "2027-03-16", "2027-03-20", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tx := postgrestest.Tx(t)
			site := newSite(t, tx, "S")
			run, other := newRun(t, tx, site, "1"), newRun(t, tx, site, "2")
			add := func(run Run, first, last string) error {
				return insertClosure(t.Context(), tx, Closure{ID: ids.ClosureID(uuid.New()), RunID: run.ID, Days: days(first, last), Reason: "x"})
			}
			require.NoError(t, add(run, "2027-03-10", "2027-03-15"))
			require.NoError(t, add(other, tt.first, tt.last), "another run")
			err := add(run, tt.first, tt.last)
			if !tt.clash {
				require.NoError(t, err)
				return
			}
			require.ErrorIs(t, err, apperr.Conflict)
			require.Equal(t, "RUN_CLOSED_ALREADY", apperr.ReasonOf(err))
			require.ErrorContains(t, err, "from "+tt.first+" to "+tt.last)
		})
	}
}

func TestInsertClosureOfAnUnknownRunIsNoConflict(t *testing.T) {
	t.Parallel()
	err := insertClosure(t.Context(), postgrestest.Tx(t), Closure{ID: ids.ClosureID(uuid.New()), RunID: ids.RunID(uuid.New()), Days: days("2027-03-01", "2027-03-01")})
	require.Error(t, err)
	require.Equal(t, apperr.Internal, apperr.KindOf(err))
	name, code := postgres.Constraint(err)
	require.Equal(t, [2]string{"closure_run_fkey", postgres.ForeignKeyViolation}, [2]string{name, code})
}

func TestEndClosure(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, open string
		want       []string
	}{
		{"in the middle", "2027-03-12", []string{"[2027-03-10,2027-03-12) x"}},
		{"on the second day", "2027-03-11", []string{"[2027-03-10,2027-03-11) x"}},
		{"on the first day", "2027-03-10", []string{}},
		{"before it begins", "2027-03-01", []string{}},
		{"the day after it ends", "2027-03-16", []string{"[2027-03-10,2027-03-16) x"}},
		{"long after it ends", "2028-01-01", []string{"[2027-03-10,2027-03-16) x"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tx := postgrestest.Tx(t)
			run := newRun(t, tx, newSite(t, tx, "S"), "1")
			c := Closure{ID: ids.ClosureID(uuid.New()), RunID: run.ID, Days: days("2027-03-10", "2027-03-15"), Reason: "x"}
			require.NoError(t, insertClosure(t.Context(), tx, c))
			require.NoError(t, endClosure(t.Context(), tx, c.ID, calendar.MustDate(tt.open)))
			require.Equal(t, tt.want, closuresOf(t, tx, run))
		})
	}
	err := endClosure(t.Context(), postgrestest.Tx(t), ids.ClosureID(uuid.New()), calendar.MustDate("2027-03-01"))
	require.ErrorIs(t, err, apperr.NotFound)
}

func TestAreas(t *testing.T) {
	t.Parallel()
	tx := postgrestest.Tx(t)
	site := newSite(t, tx, "S")
	yard := Area{ID: ids.AreaID(uuid.New()), SiteID: site.ID, Code: "yard", Kind: "yard", DogsAtOnce: 2}
	hall := Area{ID: ids.AreaID(uuid.New()), SiteID: site.ID, Code: "hall", Kind: "hall", DogsAtOnce: 4}
	require.NoError(t, putAreas(t.Context(), tx, []Area{yard, hall}))
	changed := Area{ID: ids.AreaID(uuid.New()), SiteID: site.ID, Code: "yard", Kind: "field", DogsAtOnce: 9}
	require.NoError(t, putAreas(t.Context(), tx, []Area{changed}))
	changed.ID = yard.ID
	all, err := ListAreas(t.Context(), tx)
	require.NoError(t, err)
	require.Equal(t, []Area{hall, changed}, all)
}

func TestPlaces(t *testing.T) {
	t.Parallel()
	tx := postgrestest.Tx(t)
	usual, special, none := newSite(t, tx, "A"), newSite(t, tx, "B"), newSite(t, tx, "C")
	require.NoError(t, putWeekdayPlaces(t.Context(), tx, []weekdayPlaces{
		{usual.ID, 1, 3, 0}, {usual.ID, 7, 0, 4}, {usual.ID, 3, 1, 1},
	}))
	require.NoError(t, putWeekdayPlaces(t.Context(), tx, []weekdayPlaces{{usual.ID, 3, 2, 2}}))
	require.NoError(t, putExceptions(t.Context(), tx, []dayException{
		{usual.ID, calendar.MustDate("2027-03-01"), 9, 9, "busy"}, {usual.ID, calendar.MustDate("2027-03-08"), 9, 9, "outside"},
		{usual.ID, calendar.MustDate("2027-02-28"), 9, 9, "outside"}, {special.ID, calendar.MustDate("2027-03-02"), 1, 0, "open day"},
	}))
	require.NoError(t, putExceptions(t.Context(), tx, []dayException{{usual.ID, calendar.MustDate("2027-03-01"), 0, 0, "holiday"}}))

	places, err := ListPlaces(t.Context(), tx, days("2027-03-01", "2027-03-07")) // Monday to Sunday
	require.NoError(t, err)
	brief := func(id ids.SiteID) string {
		text := ""
		for _, d := range places[id] {
			text += fmt.Sprintf("%d:%d/%d%s ", d.Day.Day(), d.Intake, d.Handover, d.Note)
		}
		return text
	}
	require.Equal(t, "1:0/0holiday 2:0/0 3:2/2 4:0/0 5:0/0 6:0/0 7:0/4 ", brief(usual.ID))
	require.Equal(t, "1:0/0 2:1/0open day 3:0/0 4:0/0 5:0/0 6:0/0 7:0/0 ", brief(special.ID))
	require.Equal(t, "1:0/0 2:0/0 3:0/0 4:0/0 5:0/0 6:0/0 7:0/0 ", brief(none.ID), "a site without entries has none on any day")

	empty, err := ListPlaces(t.Context(), tx, calendar.Span{})
	require.NoError(t, err)
	require.Empty(t, empty)
}

// TestPlacesOfAnyDay holds the places of a span against those of each of its days asked alone.
func TestPlacesOfAnyDay(t *testing.T) {
	t.Parallel()
	tx := postgrestest.Tx(t)
	site := newSite(t, tx, "A")
	for weekday := 1; weekday <= 6; weekday++ {
		require.NoError(t, putWeekdayPlaces(t.Context(), tx, []weekdayPlaces{{site.ID, weekday, weekday, 10 * weekday}}))
	}
	first := calendar.MustDate("2027-02-25")
	for i := range 6 {
		require.NoError(t, putExceptions(t.Context(), tx, []dayException{{site.ID, first.AddDays(5 * i), 100 + i, 0, "x"}}))
	}
	rapid.Check(t, func(rt *rapid.T) {
		from := first.AddDays(rapid.IntRange(-5, 30).Draw(rt, "from"))
		span := calendar.Span{From: from, To: from.AddDays(rapid.IntRange(1, 12).Draw(rt, "days"))}
		places, err := ListPlaces(t.Context(), tx, span)
		require.NoError(rt, err)
		require.Len(rt, places[site.ID], span.Nights())
		for i, got := range places[site.ID] {
			day := span.From.AddDays(i)
			want := DayPlaces{Day: day}
			if k := day.Sub(first); k >= 0 && k <= 25 && k%5 == 0 {
				want.Intake, want.Note = 100+k/5, "x"
			} else {
				weekday := map[string]int{"Mon": 1, "Tue": 2, "Wed": 3, "Thu": 4, "Fri": 5, "Sat": 6}[day.Format("Mon")]
				want.Intake, want.Handover = weekday, 10*weekday
			}
			require.Equal(rt, want, got)
		}
	})
}
