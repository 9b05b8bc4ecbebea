package dayplan

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/workload"
)

// weather is an hour of a forecast in Fahrenheit, by its instant.
func weather(at string, degrees, humidity int) facility.ForecastHour {
	hour, err := time.Parse(time.RFC3339, at)
	if err != nil {
		panic(err)
	}
	return facility.ForecastHour{Hour: hour.UTC(), TemperatureTenths: 10 * degrees, Unit: facility.UnitF, Humidity: humidity, Source: "a test"}
}

// dayIn lays out a day of a site with a yard and a hall, without trainers and dogs.
func dayIn(t *testing.T, day, zone string, site facility.Site, forecast ...facility.ForecastHour) *task {
	t.Helper()
	site.Zone = zone
	made, err := buildTask(Inputs{Site: site, Day: calendar.MustDate(day), Forecast: forecast,
		Areas: []facility.Area{{Code: "yard", Kind: "yard", DogsAtOnce: 1, Outdoors: true}, {Code: "hall", Kind: "hall", DogsAtOnce: 1}}}, nil)
	require.NoError(t, err)
	return made
}

// TestOutsideClosedHours holds the hours in which work outdoors is closed against what the published values of the heat index ask for, at
// each limit that a site may have.
func TestOutsideClosedHours(t *testing.T) {
	t.Parallel()
	const (
		table  = "NOAA/NWS heat index table: 90 F/40 % 91, 96 F/65 % 121, 100 F/65 % 136, 106 F/40 % 124"
		memory = table + "; from memory: 80 F/40 % 80, 84 F/40 % 83, 88 F/40 % 88"
		simple = "HeatStressR test: 77 F/50 % 76.875"
	)
	forecast := []facility.ForecastHour{
		weather("2027-07-14T08:00:00-06:00", 77, 50),  // feels like 76.875
		weather("2027-07-14T09:00:00-06:00", 80, 40),  // 80
		weather("2027-07-14T10:00:00-06:00", 84, 40),  // 83
		weather("2027-07-14T11:00:00-06:00", 88, 40),  // 88
		weather("2027-07-14T12:00:00-06:00", 90, 40),  // 91
		weather("2027-07-14T13:00:00-06:00", 96, 65),  // 121
		weather("2027-07-14T14:00:00-06:00", 100, 65), // 136
		weather("2027-07-14T15:00:00-06:00", 106, 40), // 124
		weather("2027-07-14T17:00:00-06:00", 77, 50),
	}
	for _, c := range []struct {
		site         facility.Site
		all, risky   string
		source, name string
	}{
		{facility.Site{}, "11:00 to 16:00", "08:00 to 16:00, 17:00 to 18:00", memory + "; " + simple, "limits of 85 and 75 F"},
		{facility.Site{HeatClosedF: 90, HeatSensitiveF: 82}, "12:00 to 16:00", "10:00 to 16:00", memory, "limits of 90 and 82 F"},
		{facility.Site{HeatClosedF: 80, HeatSensitiveF: 77}, "10:00 to 16:00", "09:00 to 16:00", memory + "; " + simple, "limits of 80 and 77 F"},
	} {
		made := dayIn(t, "2027-07-14", "America/Denver", c.site, forecast...)
		all, err := made.tooHot(ordinary)
		require.NoError(t, err)
		risky, err := made.tooHot(workload.HeatDog{})
		require.NoError(t, err)
		outside.Check(t, "hours closed outdoors for all dogs, "+c.name, c.source, c.all, made.spanWords(all))
		outside.Check(t, "hours closed outdoors for dogs at special risk, "+c.name, c.source, c.risky, made.spanWords(risky))
	}
}

// TestForecastOnDaysOfClockChange: a forecast is of instants, so the hour that it closes is the right one also when clocks jump and when an hour
// comes twice. Source: clocks of US zones change at 02:00 on the second Sunday of March and the first of November (15 U.S.C. 260a, from
// memory).
func TestForecastOnDaysOfClockChange(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		day, at string
		want    dayblocks.Span
		words   string
	}{
		{"2027-03-14", "2027-03-14T01:00:00-07:00", dayblocks.Span{From: 60, To: 120}, "01:00 to 03:00"}, // 02:00 is 03:00
		{"2027-03-14", "2027-03-14T03:00:00-06:00", dayblocks.Span{From: 120, To: 180}, "03:00 to 04:00"},
		{"2027-03-14", "2027-03-14T14:00:00-06:00", dayblocks.Span{From: 780, To: 840}, "14:00 to 15:00"},
		{"2027-11-07", "2027-11-07T01:00:00-06:00", dayblocks.Span{From: 60, To: 120}, "01:00 to 01:00"},
		{"2027-11-07", "2027-11-07T01:00:00-07:00", dayblocks.Span{From: 120, To: 180}, "01:00 to 02:00"},
		{"2027-11-07", "2027-11-07T14:00:00-07:00", dayblocks.Span{From: 900, To: 960}, "14:00 to 15:00"},
	} {
		made := dayIn(t, c.day, "America/Denver", facility.Site{}, weather(c.at, 100, 65))
		hot, err := made.tooHot(ordinary)
		require.NoError(t, err)
		require.Equal(t, []dayblocks.Span{c.want}, hot, c.at)
		require.Equal(t, c.words, made.spanWords(hot), c.at)
	}
}

// TestHeatInNotes: what is not planned for is told, and the cautions are there in any weather.
func TestHeatInNotes(t *testing.T) {
	t.Parallel()
	text := func(made *task) string { return strings.Join(made.notes, "\n") }
	none := dayIn(t, "2027-03-10", "America/Denver", facility.Site{})
	require.Contains(t, text(none), "Heat was not planned for: nobody entered a forecast")
	require.Contains(t, text(none), "yard")
	require.Contains(t, text(none), "stop at heavy panting")

	cool := dayIn(t, "2027-03-10", "America/Denver", facility.Site{}, weather("2027-03-10T14:00:00-07:00", 50, 40))
	require.Contains(t, text(cool), "not closed for all dogs, not closed for those with the lower limit")
	require.Contains(t, text(cool), "No forecast for 07:00 to 14:00, 15:00 to 20:00: heat was not planned for then")
	require.Contains(t, text(cool), "stop at heavy panting")
	require.NotContains(t, text(cool), "safe", "no weather is told to be")

	hot := dayIn(t, "2027-03-10", "America/Denver", facility.Site{}, weather("2027-03-10T14:00:00-07:00", 100, 65))
	require.Contains(t, text(hot), "closed 14:00 to 15:00 for all dogs")
	require.Contains(t, text(hot), "Paved ground")
	require.Contains(t, text(hot), "extreme danger")
	require.NotContains(t, text(hot), "Heat was not planned for")

	_, err := buildTask(Inputs{Site: facility.Site{Code: "S", Zone: "America/Denver", HeatClosedF: 80, HeatSensitiveF: 85}, Day: calendar.MustDate("2027-03-10")}, nil)
	require.ErrorContains(t, err, "heat_sensitive_f")
}

// TestWordsNameWhatCloses: a session that could be held but for the heat, a closure or a second person says so.
func TestWordsNameWhatCloses(t *testing.T) {
	t.Parallel()
	made := dayIn(t, "2027-07-14", "America/Denver", facility.Site{}, weather("2027-07-14T10:00:00-06:00", 100, 65))
	made.day.Trainers = []dayblocks.Trainer{{Hours: []dayblocks.Span{{From: 600, To: 660}}}, {Hours: []dayblocks.Span{{From: 600, To: 660}}}}
	hall := dayblocks.Span{From: 480, To: 720}
	whole := func(change func(d *dayblocks.Dog)) string {
		dog := dayblocks.Dog{Sessions: []dayblocks.Session{{Minutes: 15, Handlers: []dayblocks.Choice{{Trainer: 0}}, Areas: []dayblocks.Place{{Area: 0}, {Area: 1}}}}}
		made.closed, made.hot = make([][]dayblocks.Span, 2), [][]dayblocks.Span{nil}
		change(&dog)
		for n := range dog.Sessions[0].Areas {
			p := &dog.Sessions[0].Areas[n]
			p.Closed = slices.Clone(made.closed[p.Area])
			if p.Area == 0 {
				p.Closed = append(p.Closed, made.hot[0]...)
			}
		}
		made.day.Dogs = []dayblocks.Dog{dog}
		made.needs = []workload.Need{{Care: workload.Guarded}}
		require.False(t, made.possible(&dog, dog.Sessions[0], dog.Two, dog.Sessions[0].Areas))
		reason, remedy := made.neverWords(dayblocks.Dropped{}, "INGA", 15, made.closedWords(0))
		require.NotEmpty(t, remedy)
		return reason
	}
	yardOnly := func(d *dayblocks.Dog) { d.Sessions[0].Areas = d.Sessions[0].Areas[:1] }
	require.Equal(t, "it is too hot outdoors when the dog and INGA are free; outdoors is closed for it in the heat 10:00 to 11:00", whole(func(d *dayblocks.Dog) {
		yardOnly(d)
		made.hot[0] = []dayblocks.Span{{From: 600, To: 660}}
	}))
	require.Equal(t, "no area is open when the dog and INGA are free; hall is closed 08:00 to 12:00", whole(func(d *dayblocks.Dog) {
		d.Sessions[0].Areas = d.Sessions[0].Areas[1:]
		made.closed[1] = []dayblocks.Span{hall}
	}))
	require.Equal(t, "it is too hot outdoors when the dog and INGA are free; outdoors is closed for it in the heat 10:00 to 11:00, hall is closed 08:00 to 12:00",
		whole(func(*dayblocks.Dog) {
			made.hot[0], made.closed[1] = []dayblocks.Span{{From: 600, To: 660}}, []dayblocks.Span{{From: 480, To: 630}, {From: 630, To: 720}}
		}))
	require.Contains(t, whole(func(d *dayblocks.Dog) {
		yardOnly(d)
		made.hot[0], made.closed[0] = []dayblocks.Span{{From: 600, To: 660}}, []dayblocks.Span{hall}
	}), "it is too hot outdoors, and no other area is open, when the dog and INGA are free")
	require.Contains(t, whole(func(d *dayblocks.Dog) { d.Two, d.Sessions[0].Seconds = true, []dayblocks.Choice{{Trainer: 0}} }),
		"no second one who holds care class guarded is at work when the dog and INGA are")
	require.Contains(t, whole(func(d *dayblocks.Dog) { d.Away = []dayblocks.Span{{From: 540, To: 700}} }), "are never free together for 15 minutes")
}
