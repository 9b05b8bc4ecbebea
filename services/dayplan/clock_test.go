package dayplan

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayblocks"
)

// TestElapsedMinutes turns local times into minutes since midnight on ordinary days and on both days on which clocks change. Source: the
// clocks of US zones change at 02:00 on the second Sunday of March and the first of November (15 U.S.C. 260a, from memory).
func TestElapsedMinutes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		day, zone, at string
		length, want  int
	}{
		{"2027-03-10", "America/Chicago", "08:00", 1440, 480},
		{"2027-03-14", "America/Chicago", "01:30", 1380, 90},
		{"2027-03-14", "America/Chicago", "02:30", 1380, 120}, // skipped: the jump
		{"2027-03-14", "America/Chicago", "08:00", 1380, 420},
		{"2027-11-07", "America/Chicago", "01:30", 1500, 90}, // twice: the first
		{"2027-11-07", "America/Chicago", "08:00", 1500, 540},
		{"2027-11-07", "America/Denver", "17:00", 1500, 1080},
		{"2027-03-14", "America/Phoenix", "08:00", 1440, 480},
	} {
		clock, err := newClock(calendar.MustDate(c.day), c.zone)
		require.NoError(t, err)
		require.Equal(t, c.length, clock.minutes, c.day)
		at, err := clock.at(calendar.MustClock(c.at))
		require.NoError(t, err)
		require.Equal(t, c.want, at, "%s at %s", c.day, c.at)
		require.Equal(t, at, clock.minute(clock.instant(at)))
		if at != 120 {
			require.Equal(t, c.at, clock.local(clock.instant(at)))
		}
	}
}

// TestShiftSpans: shifts lie on the grid, last as long as they do in truth, and are cut at midnight.
func TestShiftSpans(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		day, from, to string
		want          dayblocks.Span
		cut           bool
	}{
		{"2027-03-10", "08:00", "16:30", dayblocks.Span{From: 480, To: 990}, false},
		{"2027-03-10", "08:02", "16:33", dayblocks.Span{From: 485, To: 990}, false},
		{"2027-03-10", "22:00", "06:00", dayblocks.Span{From: 1320, To: 1440}, true},
		{"2027-03-10", "16:00", "00:00", dayblocks.Span{From: 960, To: 1440}, false},
		{"2027-03-14", "01:00", "09:00", dayblocks.Span{From: 60, To: 480}, false}, // seven hours
		{"2027-11-07", "01:00", "09:00", dayblocks.Span{From: 60, To: 600}, false}, // nine
		{"2027-11-07", "22:00", "06:00", dayblocks.Span{From: 1380, To: 1500}, true},
	} {
		clock, err := newClock(calendar.MustDate(c.day), "America/Denver")
		require.NoError(t, err)
		got, cut, err := clock.span(calendar.MustClock(c.from), calendar.MustClock(c.to))
		require.NoError(t, err)
		require.Equal(t, c.want, got, "%s, %s to %s", c.day, c.from, c.to)
		require.Equal(t, c.cut, cut, "%s, %s to %s", c.day, c.from, c.to)
	}
	clock, err := newClock(calendar.MustDate("2027-03-14"), "America/Denver")
	require.NoError(t, err)
	require.Equal(t, "24:00", clock.local(clock.start.Add(23*time.Hour)))
}

// TestBreaks: breaks stay in their part of the shift where they can, go elsewhere where they must, and are counted where there is no room.
func TestBreaks(t *testing.T) {
	t.Parallel()
	shift := dayblocks.Span{From: 480, To: 990}
	for _, c := range []struct {
		name  string
		fixed []dayblocks.Span
		kept  []string
		lost  int
		moved bool
	}{
		{"nothing fixed", nil, []string{KindMeal, KindRest, KindRest}, 0, false},
		{"a handover over lunch", []dayblocks.Span{{From: 600, To: 690}}, []string{KindMeal, KindRest, KindRest}, 0, false},
		{"handovers in all of the middle", []dayblocks.Span{{From: 600, To: 870}}, []string{KindMeal, KindRest, KindRest}, 0, true},
		{"half an hour left", []dayblocks.Span{{From: 480, To: 960}}, []string{KindMeal}, 2, true},
		{"no time at all", []dayblocks.Span{shift}, []string{}, 3, true},
	} {
		breaks, kinds := wantBreaks(shift, 30)
		x := dayblocks.Trainer{Hours: []dayblocks.Span{shift}, Fixed: c.fixed, Breaks: breaks}
		kept, lost := roomForBreaks(&dayblocks.Day{Step: step, Minutes: 24 * 60}, &x, kinds, 0)
		require.Equal(t, c.kept, kept, c.name)
		require.Equal(t, c.lost, lost, c.name)
		require.Len(t, x.Breaks, len(c.kept), c.name)
		if len(x.Breaks) > 0 {
			require.Equal(t, c.moved, x.Breaks[0].Within == shift, c.name)
			_, err := dayblocks.Solve(&dayblocks.Day{Step: step, Minutes: 1440, Trainers: []dayblocks.Trainer{x}}, dayblocks.Options{})
			require.NoError(t, err, c.name)
		}
	}
}
