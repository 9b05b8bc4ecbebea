package facility

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgrestest"
)

const (
	closuresCSV = "site,area,starts,ends,reason"
	forecastCSV = "site,hour,temperature,unit,humidity,source"
	areasCSV    = "site,area,kind,dogs_at_once"
)

// TestConditionsAreChecked holds every fault of a closure and of a forecast against the cell that it names.
func TestConditionsAreChecked(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	tx, err := pool.Begin(t.Context())
	require.NoError(t, err)
	defer func() { require.NoError(t, tx.Rollback(t.Context())) }()
	require.Empty(t, importCSV(t, tx, KindSites, sitesCSV, "HILL,H,America/Denver,28,,100,0,", "LAKE,L,Europe/London,14,,100,0,"))
	require.Empty(t, importCSV(t, tx, KindAreas, areasCSV, "HILL,yard,yard,2", "LAKE,yard,yard,2"))
	for _, c := range []struct{ name, kind, line, column, rule string }{
		{"no time", KindAreaClosures, "HILL,yard,in the morning,2027-03-08 12:00,x", "starts", "is no day with a time"},
		{"no end", KindAreaClosures, "HILL,yard,2027-03-08 08:00,noon,x", "ends", "is no day with a time"},
		{"turned round", KindAreaClosures, "HILL,yard,2027-03-08 12:00,2027-03-08 08:00,x", "ends", "is not after the start"},
		{"of no length", KindAreaClosures, "HILL,yard,2027-03-08,2027-03-08,x", "ends", "is not after the start"},
		{"skipped by clocks", KindAreaClosures, "HILL,yard,2027-03-14 02:30,2027-03-14 08:00,x", "starts", "2027-03-14 02:30 does not exist"},
		{"half past", KindForecast, "HILL,2027-07-14 14:30,90,F,40,x", "hour", "is not a full hour at the site"},
		{"skipped hour", KindForecast, "HILL,2027-03-14 02:00,40,F,40,x", "hour", "02:00"},
		{"Fahrenheit for Celsius", KindForecast, "HILL,2027-07-14 14:00,90,C,40,x", "temperature", "is not between -60 and 60 C"},
	} {
		header := map[string]string{KindAreaClosures: closuresCSV, KindForecast: forecastCSV}[c.kind]
		wrong := importCSV(t, tx, c.kind, header, c.line)
		require.Len(t, wrong, 1, c.name)
		require.Equal(t, c.column, wrong[0].Column, c.name)
		require.Contains(t, wrong[0].Rule, c.rule, c.name)
		require.NotEmpty(t, wrong[0].Remedy, c.name)
		require.Equal(t, []string{header}, exportCSV(t, tx, c.kind), "%s: nothing is written", c.name)
	}
	wrong := importCSV(t, tx, KindForecast, forecastCSV, "HILL,2027-07-14 14:00,90,F,40,x", "HILL,2027-07-14T20:00:00Z,91,F,40,x", "LAKE,2027-07-14 14:00,30,C,40,x")
	require.Len(t, wrong, 1, "one hour spelt in two ways")
	require.Equal(t, 3, wrong[0].Line)
	require.Equal(t, []string{forecastCSV, "HILL,2027-07-14T14:00:00-06:00,90.0,F,40,x", "LAKE,2027-07-14T14:00:00+01:00,30.0,C,40,x"}, exportCSV(t, tx, KindForecast))
	wrong = importCSV(t, tx, KindAreaClosures, closuresCSV, "HILL,yard,2027-07-14,2027-07-15,x", "HILL,yard,2027-07-14T06:00:00Z,2027-07-15 10:00,y")
	require.Len(t, wrong, 1)
	require.Equal(t, 3, wrong[0].Line)
}

// TestACorrectionReplaces: a later word on the same hour, and another end of the same closure, take the place of what was there, and what is
// said twice changes nothing.
func TestACorrectionReplaces(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	tx, err := pool.Begin(t.Context())
	require.NoError(t, err)
	defer func() { require.NoError(t, tx.Rollback(t.Context())) }()
	require.Empty(t, importCSV(t, tx, KindSites, sitesCSV, "HILL,H,America/Denver,28,,100,0,"))
	require.Empty(t, importCSV(t, tx, KindAreas, areasCSV, "HILL,yard,yard,2"))
	site, err := FindSite(t.Context(), tx, "HILL")
	require.NoError(t, err)
	day := time.Date(2027, 7, 14, 6, 0, 0, 0, time.UTC) // midnight at the site
	closures := func() []AreaClosure {
		all, err := ListAreaClosures(t.Context(), tx, site.ID, day, day.Add(24*time.Hour))
		require.NoError(t, err)
		return all
	}
	for range 2 {
		require.Empty(t, importCSV(t, tx, KindAreaClosures, closuresCSV, "HILL,yard,2027-07-14 08:00,2027-07-14 12:00,fence"))
		require.Empty(t, importCSV(t, tx, KindForecast, forecastCSV, "HILL,2027-07-14 14:00,90,F,40,at six"))
	}
	before := closures()
	require.Len(t, before, 1)
	require.Empty(t, importCSV(t, tx, KindAreaClosures, closuresCSV, "HILL,yard,2027-07-14 08:00,2027-07-14 10:00,mended"))
	after := closures()
	require.Len(t, after, 1)
	require.Equal(t, before[0].ID, after[0].ID)
	require.Equal(t, []any{"mended", day.Add(10 * time.Hour)}, []any{after[0].Reason, after[0].To})
	require.Empty(t, importCSV(t, tx, KindForecast, forecastCSV, "HILL,2027-07-14 14:00,36.5,C,40,at noon"))
	hours, err := ListForecast(t.Context(), tx, site.ID, day, day.Add(24*time.Hour))
	require.NoError(t, err)
	require.Len(t, hours, 1)
	require.InDelta(t, 97.7, hours[0].TemperatureF(), 1e-9)
	require.Equal(t, "at noon", hours[0].Source)
	none, err := ListForecast(t.Context(), tx, site.ID, day.Add(24*time.Hour), day.Add(48*time.Hour))
	require.NoError(t, err)
	require.Empty(t, none, "the next day has none")
	require.Empty(t, importCSV(t, tx, KindAreaClosures, closuresCSV, "HILL,yard,2027-07-13 20:00,2027-07-14 07:00,rain"))
	require.Len(t, closures(), 2, "one that began the day before reaches into this one")
}

// TestOldFilesLiftNothing: a file that lacks the new columns leaves limits and areas as they are; an empty cell takes the default.
func TestOldFilesLiftNothing(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	tx, err := pool.Begin(t.Context())
	require.NoError(t, err)
	defer func() { require.NoError(t, tx.Rollback(t.Context())) }()
	old := []string{sitesCSV, "HILL,H,America/Denver,28,,100,0,"}
	require.Empty(t, importCSV(t, tx, KindSites, sitesCSV+heatCSV, "HILL,H,America/Denver,28,,100,0,,80,65"))
	require.Empty(t, importCSV(t, tx, KindSites, old...))
	require.Contains(t, exportCSV(t, tx, KindSites), "HILL,H,America/Denver,28,,100,0,,80,65")
	for _, bad := range []string{"91,", "80,81", "20,", ",86", ",5"} {
		require.Len(t, importCSV(t, tx, KindSites, sitesCSV+heatCSV, "HILL,H,America/Denver,28,,100,0,,"+bad), 1, bad)
	}
	require.Empty(t, importCSV(t, tx, KindSites, sitesCSV+heatCSV, "HILL,H,America/Denver,28,,100,0,,,"))
	site, err := FindSite(t.Context(), tx, "HILL")
	require.NoError(t, err)
	require.Zero(t, site.HeatLimits())

	require.Empty(t, importCSV(t, tx, KindAreas, areasCSV+",outdoors", "HILL,barn,hall,2,yes", "HILL,tent,yard,2,no", "HILL,meadow,field,2,", "HILL,den,quiet room,2,"))
	require.Empty(t, importCSV(t, tx, KindAreas, areasCSV, "HILL,barn,hall,3", "HILL,tent,yard,3"))
	require.Equal(t, []string{areasCSV + ",outdoors", "HILL,barn,hall,3,yes", "HILL,den,quiet room,2,no", "HILL,meadow,field,2,yes", "HILL,tent,yard,3,no"}, exportCSV(t, tx, KindAreas))
	_, err = FindArea(t.Context(), tx, site, "attic")
	require.ErrorContains(t, err, "attic")
}

// TestMoments reads instants as people write them. Clocks in Denver go from 02:00 to 03:00 on 14 March 2027 and back on 7 November (15 U.S.C.
// 260a, from memory).
func TestMoments(t *testing.T) {
	t.Parallel()
	zone, err := calendar.LoadZone("America/Denver")
	require.NoError(t, err)
	for text, want := range map[string]string{
		"2027-07-14 14:00": "2027-07-14T20:00:00Z", "2027-07-14T14:00": "2027-07-14T20:00:00Z", "2027-07-14 14:00:00": "2027-07-14T20:00:00Z",
		"2027-07-14": "2027-07-14T06:00:00Z", "2027-07-14T14:00:00-04:00": "2027-07-14T18:00:00Z", "2027-03-14 03:00": "2027-03-14T09:00:00Z",
		"2027-11-07 01:00": "2027-11-07T07:00:00Z", "2027-11-07T01:00:00-07:00": "2027-11-07T08:00:00Z",
	} {
		at, fault := Moment("hour", text, zone)
		require.Nil(t, fault, text)
		require.Equal(t, want, at.Format(time.RFC3339), text)
	}
	for _, text := range []string{"", "now", "14:00", "2027-07-14 25:00", "2027-02-30 10:00", "2027-03-14 02:30", "14.7.2027 14:00", "2027-07-14 14:00:30"} {
		_, fault := Moment("hour", text, zone)
		require.NotNil(t, fault, text)
		require.NotEmpty(t, fault.Remedy, text)
		require.ErrorContains(t, fault, "hour")
	}
}

// TestForecastHoursThatCannotBe: each fault names its field.
func TestForecastHoursThatCannotBe(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("half", 5*3600+1800) // full hours there are half hours in UTC
	good := ForecastHour{SiteID: ids.SiteID{1}, Hour: time.Date(2027, 7, 14, 8, 30, 0, 0, time.UTC), TemperatureTenths: 900, Unit: UnitF, Humidity: 40, Source: "x"}
	require.Nil(t, good.Check(zone))
	for field, spoil := range map[string]func(h *ForecastHour){
		"hour":        func(h *ForecastHour) { h.Hour = h.Hour.Add(30 * time.Minute) },
		"unit":        func(h *ForecastHour) { h.Unit = "K" },
		"temperature": func(h *ForecastHour) { h.TemperatureTenths = 1401 },
		"humidity":    func(h *ForecastHour) { h.Humidity = 101 },
		"source":      func(h *ForecastHour) { h.Source = "  " },
	} {
		h := good
		spoil(&h)
		fault := h.Check(zone)
		require.NotNil(t, fault, field)
		require.Equal(t, field, fault.Field)
	}
}
