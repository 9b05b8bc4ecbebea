package roster

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

var (
	hill, lake = ids.SiteID{1}, ids.SiteID{2}
	ana, ben   = ids.TrainerID{1}, ids.TrainerID{2}
)

// days makes a span of days written as its first and last one.
func days(first, last string) calendar.Span {
	return calendar.Span{From: calendar.MustDate(first), To: calendar.MustDate(last).AddDays(1)}
}

func shift(trainer ids.TrainerID, weekday int, site ids.SiteID, starts, ends string, meal int) Shift {
	return Shift{TrainerID: trainer, Weekday: weekday, SiteID: site, Starts: calendar.MustClock(starts), Ends: calendar.MustClock(ends), MealMinutes: meal}
}

// brief writes a working day on one line for comparing.
func brief(d TrainerDay) string {
	site := map[ids.SiteID]string{hill: "hill", lake: "lake"}[d.SiteID]
	name := map[ids.TrainerID]string{ana: "ana", ben: "ben"}[d.TrainerID]
	return name + " " + d.Day.Format("Mon 2") + " " + site
}

func briefs(all []TrainerDay) []string {
	out := make([]string, len(all))
	for i, d := range all {
		out[i] = brief(d)
	}
	return out
}

func TestDaysFollowPatternAbsencesAndLoans(t *testing.T) {
	t.Parallel()
	trainers := []Trainer{{ID: ben, MinutesADay: 300, MostDogs: 5}, {ID: ana, MinutesADay: 600, MostDogs: 6}}
	shifts := []Shift{
		shift(ana, 1, hill, "08:00", "16:30", 30), shift(ana, 2, hill, "08:00", "16:30", 30), shift(ana, 7, lake, "10:00", "12:00", 0),
		shift(ben, 1, lake, "09:00", "17:00", 60),
	}
	week := days("2027-03-01", "2027-03-07") // Monday to Sunday
	tests := []struct {
		name     string
		absences []Absence
		loans    []Loan
		span     calendar.Span
		want     []string
	}{
		{"pattern", nil, nil, week, []string{"ben Mon 1 lake", "ana Mon 1 hill", "ana Tue 2 hill", "ana Sun 7 lake"}},
		{"absent on the last day of an absence, back on the next",
			[]Absence{{TrainerID: ana, Days: days("2027-02-20", "2027-03-01")}}, nil, week,
			[]string{"ben Mon 1 lake", "ana Tue 2 hill", "ana Sun 7 lake"}},
		{"two absences with a gap",
			[]Absence{{TrainerID: ana, Days: days("2027-03-01", "2027-03-01")}, {TrainerID: ana, Days: days("2027-03-03", "2027-03-30")}}, nil, week,
			[]string{"ben Mon 1 lake", "ana Tue 2 hill"}},
		{"a loan moves shifts and makes none", nil,
			[]Loan{{TrainerID: ana, SiteID: lake, Days: days("2027-03-02", "2027-03-05")}}, week,
			[]string{"ben Mon 1 lake", "ana Mon 1 hill", "ana Tue 2 lake", "ana Sun 7 lake"}},
		{"an absence beats a loan",
			[]Absence{{TrainerID: ana, Days: days("2027-03-02", "2027-03-02")}},
			[]Loan{{TrainerID: ana, SiteID: lake, Days: days("2027-03-01", "2027-03-02")}}, week,
			[]string{"ben Mon 1 lake", "ana Mon 1 lake", "ana Sun 7 lake"}},
		{"one day", nil, nil, days("2027-03-09", "2027-03-09"), []string{"ana Tue 9 hill"}},
		{"no day", nil, nil, calendar.Span{}, []string{}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.want, briefs(Days(trainers, shifts, tt.absences, tt.loans, tt.span)))
		})
	}
}

func TestMinutesAreTheLeastOfTrainerAndShift(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name         string
		minutesADay  int
		starts, ends string
		meal, want   int
	}{
		{"the trainer's own limit", 300, "08:00", "16:30", 30, 300},
		{"a short shift", 300, "08:00", "12:00", 15, 225},
		{"past midnight", 720, "20:00", "04:00", 30, 450},
		{"around the clock", 720, "08:00", "08:00", 60, 720},
		{"ends at midnight", 720, "16:00", "00:00", 0, 480},
		{"a meal as long as the shift", 300, "08:00", "09:00", 60, 0},
		{"a meal longer than the shift", 300, "08:00", "09:00", 90, 0},
		{"present without dogs", 0, "08:00", "16:30", 30, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := Days([]Trainer{{ID: ana, MinutesADay: tt.minutesADay, MostDogs: 4}},
				[]Shift{shift(ana, 3, hill, tt.starts, tt.ends, tt.meal)}, nil, nil, days("2027-03-01", "2027-03-07"))
			require.Equal(t, []TrainerDay{{TrainerID: ana, SiteID: hill, Day: calendar.MustDate("2027-03-03"), Minutes: tt.want, Dogs: 4,
				Starts: calendar.MustClock(tt.starts), Ends: calendar.MustClock(tt.ends), Meal: tt.meal}}, got)
		})
	}
}

// TestDaysAgreesWithARecount holds Days against a recount that asks every question of every record for each single day,
// and counts minutes one by one on the face of the clock.
func TestDaysAgreesWithARecount(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		trainers, shifts := drawTrainers(t)
		first := calendar.MustDate("2027-02-20")
		var absences []Absence
		var loans []Loan
		for _, tr := range trainers {
			for _, span := range drawSpans(t, first) {
				absences = append(absences, Absence{TrainerID: tr.ID, Days: span})
			}
			for _, span := range drawSpans(t, first) {
				loans = append(loans, Loan{TrainerID: tr.ID, SiteID: ids.SiteID{byte(rapid.IntRange(1, 3).Draw(t, "lent to"))}, Days: span})
			}
		}
		from := first.AddDays(rapid.IntRange(0, 20).Draw(t, "from"))
		span := calendar.Span{From: from, To: from.AddDays(rapid.IntRange(0, 40).Draw(t, "length"))}

		got := Days(trainers, shifts, absences, loans, span)
		require.Equal(t, recount(trainers, shifts, absences, loans, span), got)

		// The order of records has no say.
		slices.Reverse(shifts)
		slices.Reverse(absences)
		slices.Reverse(loans)
		require.Equal(t, got, Days(trainers, shifts, absences, loans, span))
	})
}

func drawTrainers(t *rapid.T) ([]Trainer, []Shift) {
	var trainers []Trainer
	var shifts []Shift
	for i := range rapid.IntRange(0, 3).Draw(t, "trainers") {
		tr := Trainer{ID: ids.TrainerID{byte(i + 1)}, MinutesADay: rapid.IntRange(0, 720).Draw(t, "minutes"), MostDogs: i}
		trainers = append(trainers, tr)
		for weekday := 1; weekday <= 7; weekday++ {
			if rapid.Bool().Draw(t, "works") {
				clock := rapid.IntRange(0, 1439)
				shifts = append(shifts, Shift{TrainerID: tr.ID, Weekday: weekday, SiteID: ids.SiteID{byte(rapid.IntRange(1, 3).Draw(t, "site"))},
					Starts: calendar.Clock(clock.Draw(t, "starts")), Ends: calendar.Clock(clock.Draw(t, "ends")), MealMinutes: rapid.IntRange(0, 180).Draw(t, "meal")})
			}
		}
	}
	return trainers, shifts
}

// drawSpans draws spans after first that do not overlap, as the tables keep them.
func drawSpans(t *rapid.T, first calendar.Date) []calendar.Span {
	var spans []calendar.Span
	for range rapid.IntRange(0, 4).Draw(t, "spans") {
		first = first.AddDays(rapid.IntRange(0, 9).Draw(t, "gap"))
		to := first.AddDays(rapid.IntRange(1, 9).Draw(t, "days"))
		spans = append(spans, calendar.Span{From: first, To: to})
		first = to
	}
	return spans
}

func recount(trainers []Trainer, shifts []Shift, absences []Absence, loans []Loan, span calendar.Span) []TrainerDay {
	var out []TrainerDay
	for _, tr := range trainers {
		for day := span.From; day.Before(span.To); day = day.AddDays(1) {
			away := slices.ContainsFunc(absences, func(a Absence) bool {
				return a.TrainerID == tr.ID && !day.Before(a.Days.From) && day.Before(a.Days.To)
			})
			for _, s := range shifts {
				// Weekday names avoid the arithmetic under test.
				if s.TrainerID != tr.ID || day.Format("Monday") != [...]string{"", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}[s.Weekday] || away {
					continue
				}
				work := -s.MealMinutes
				for c, started := s.Starts, false; c != s.Ends || !started; c = (c + 1) % 1440 {
					started = true
					work++
				}
				site := s.SiteID
				for _, l := range loans {
					if l.TrainerID == tr.ID && !day.Before(l.Days.From) && day.Before(l.Days.To) {
						site = l.SiteID
					}
				}
				if work < 0 {
					work = 0
				}
				if work > tr.MinutesADay {
					work = tr.MinutesADay
				}
				out = append(out, TrainerDay{TrainerID: tr.ID, SiteID: site, Day: day, Minutes: work, Dogs: tr.MostDogs, Starts: s.Starts, Ends: s.Ends, Meal: s.MealMinutes})
			}
		}
	}
	return out
}
