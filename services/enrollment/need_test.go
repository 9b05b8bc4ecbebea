package enrollment

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/workload"
)

func TestAgeMonths(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		born, on string
		want     int
	}{
		{"2026-03-15", "2026-03-15", 0},
		{"2026-03-15", "2026-04-14", 0},
		{"2026-03-15", "2026-04-15", 1},
		{"2026-03-15", "2027-03-14", 11},
		{"2026-03-15", "2027-03-15", 12},
		{"2026-03-15", "2026-03-01", 0}, // not born yet
		{"2025-08-31", "2026-02-27", 5},
		{"2025-08-31", "2026-02-28", 6}, // the month has no 31st
		{"2024-02-29", "2027-02-28", 36},
		{"2024-12-31", "2025-01-01", 0},
	} {
		require.Equal(t, tt.want, Case{Dog: Dog{Born: day(tt.born)}}.AgeMonths(day(tt.on)), "born %s, on %s", tt.born, tt.on)
	}
	require.Zero(t, Dog{}.AgeMonths(day("2027-03-01")), "a day of birth that is absent")
}

func TestAgeMonthsAreTheCompletedOnes(t *testing.T) {
	t.Parallel()
	first := day("2000-01-01")
	rapid.Check(t, func(t *rapid.T) {
		born := first.AddDays(rapid.IntRange(0, 10_000).Draw(t, "born"))
		on := born.AddDays(rapid.IntRange(0, 10_000).Draw(t, "days"))
		months := Dog{Born: born}.AgeMonths(on)
		if born.AddMonths(months).After(on) {
			t.Fatalf("born %s, on %s: %d months are not completed", born, on, months)
		}
		if !born.AddMonths(months + 1).After(on) {
			t.Fatalf("born %s, on %s: more than %d months are completed", born, on, months)
		}
	})
}

func TestOldEnough(t *testing.T) {
	t.Parallel()
	c := Case{Dog: Dog{Born: day("2026-09-10")}, Program: Program{LeastAgeMonths: 6}}
	require.False(t, c.OldEnough(day("2027-03-09")))
	require.True(t, c.OldEnough(day("2027-03-10")))
	c.Program.LeastAgeMonths = 0
	require.True(t, c.OldEnough(day("2026-09-10")))
}

// TestInSeason takes the 21 days from general veterinary summaries.
func TestInSeason(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name    string
		sex     Sex
		started string
		stay    calendar.Span
		want    bool
	}{
		{"the last day of the season is the arrival day", Female, "2027-02-20", days("2027-03-12", "2027-03-25"), true},
		{"the season ended the day before", Female, "2027-02-20", days("2027-03-13", "2027-03-26"), false},
		{"the season begins on the last night", Female, "2027-03-25", days("2027-03-12", "2027-03-25"), true},
		{"the season begins on the graduation day", Female, "2027-03-26", days("2027-03-12", "2027-03-25"), false},
		{"spayed since", Spayed, "2027-03-01", days("2027-03-12", "2027-03-25"), false},
		{"male", Male, "2027-03-01", days("2027-03-12", "2027-03-25"), false},
	} {
		dog := Dog{Sex: tt.sex, SeasonStarted: day(tt.started)}
		require.Equal(t, tt.want, Case{Dog: dog}.InSeason(tt.stay), tt.name)
	}
	require.False(t, Case{Dog: Dog{Sex: Female}}.InSeason(days("2027-03-01", "2027-03-14")), "no season on record")
}

// calm answers every question about safety with no trouble, and asks nothing of the others.
var calm = map[workload.Question]int{workload.FearsStrangers: 0, workload.ReactsToDogs: 0, workload.GuardsThings: 0, workload.AcceptsHandling: 4}

func manners() Case {
	return Case{
		Request: Request{Code: "R-1", Window: days("2027-03-01", "2027-03-21")},
		Dog:     Dog{Born: day("2025-06-15"), Sex: Spayed, WeightG: 21_500},
		Program: Program{Nights: 14, SessionsADay: 3, SessionMinutes: 20, LeastAgeMonths: 6, Goals: map[workload.Skill]int{workload.Heel: 1}},
		Answers: calm,
	}
}

// TestNeed holds the arithmetic against numbers worked out by hand: 3 sessions of 20 minutes with 5 to fetch the dog and bring it
// back, and 15 of care (NACA/HSUS) are 90; on the day off one such block and the care are 40 (our own setting, no source).
func TestNeed(t *testing.T) {
	t.Parallel()
	need, err := manners().Need(day("2027-03-01"))
	require.NoError(t, err)
	require.Equal(t, 90, need.Minutes)
	require.Equal(t, 40, need.CoverMinutes)
	require.Equal(t, workload.Open, need.Care)
	require.Equal(t, map[workload.Skill]int{workload.Heel: 1}, need.Skills)
	require.Empty(t, need.Cautions)
}

func TestNeedFollowsWhatIsKnownOfTheDog(t *testing.T) {
	t.Parallel()
	arrival := day("2027-03-01")
	usual, err := manners().Need(arrival)
	require.NoError(t, err)

	hound := manners()
	hound.Dog.Hound, hound.Dog.BreedTier = true, 6
	need, err := hound.Need(arrival)
	require.NoError(t, err)
	require.Greater(t, need.Minutes, usual.Minutes, "hound, slow tier")

	puppy := manners()
	puppy.Dog.Born = day("2026-11-01")
	need, err = puppy.Need(arrival)
	require.NoError(t, err)
	require.Greater(t, need.CoverMinutes, usual.CoverMinutes, "a puppy goes out more, also on the day off")
	need, err = puppy.Need(day("2027-05-01"))
	require.NoError(t, err)
	require.Equal(t, usual.Minutes, need.Minutes, "the age is that of the arrival day")

	newborn := manners()
	newborn.Dog.Born = arrival
	need, err = newborn.Need(arrival)
	require.NoError(t, err)
	require.Contains(t, strings.Join(need.Cautions, " "), "months old", "a dog in its first month is a puppy and not of unknown age")

	biter := manners()
	biter.Dog.BiteLevel = "3b"
	need, err = biter.Need(arrival)
	require.NoError(t, err)
	require.Equal(t, workload.Restricted, need.Care)
	require.True(t, need.NeedsReview)

	silent := manners()
	silent.Answers = nil
	need, err = silent.Need(arrival)
	require.NoError(t, err)
	require.Equal(t, workload.Guarded, need.Care, "questions about safety that nobody answered")

	heavy := manners()
	heavy.Dog.WeightG = 45_000
	heavy.Answers = map[workload.Question]int{workload.PullsOnLead: 4, workload.FearsStrangers: 0, workload.ReactsToDogs: 0, workload.GuardsThings: 0, workload.AcceptsHandling: 4}
	need, err = heavy.Need(arrival)
	require.NoError(t, err)
	require.Equal(t, workload.Guarded, need.Care, "heavy and pulls")
}

func TestAPersonsWordReplacesWhatWasWorkedOut(t *testing.T) {
	t.Parallel()
	c := manners()
	c.Dog.BiteLevel = "2"
	c.Override = &Override{Minutes: 30, Care: workload.Open, Reason: "worked with this dog before"}
	need, err := c.Need(day("2027-03-01"))
	require.NoError(t, err)
	require.Equal(t, 30, need.Minutes)
	require.Equal(t, 30, need.CoverMinutes, "never more than a working day")
	require.Equal(t, workload.Open, need.Care)
	require.Contains(t, need.Reasons[len(need.Reasons)-1].Text, "worked with this dog before")
	require.Contains(t, strings.Join(need.Cautions, " "), "A person set the care class to open")

	c.Override = &Override{Reason: "that was a mistake"}
	need, err = c.Need(day("2027-03-01"))
	require.NoError(t, err)
	require.Equal(t, 90, need.Minutes, "a word without minutes and class lifts an earlier one")
	require.Equal(t, workload.Guarded, need.Care)
}

func TestNeedRefusesARecordThatNoCheckLetsIn(t *testing.T) {
	t.Parallel()
	c := manners()
	c.Program.SessionsADay = 0
	_, err := c.Need(day("2027-03-01"))
	require.ErrorContains(t, err, "R-1")
}

func TestCautionsForTheEarliestStay(t *testing.T) {
	t.Parallel()
	c := manners()
	require.Empty(t, c.cautions())
	c.Dog = Dog{Born: day("2026-12-01"), Sex: Female, SeasonStarted: day("2027-02-20")}
	found := c.cautions()
	require.Len(t, found, 2)
	require.Contains(t, found[0], "3 months old on 2027-03-01 and the program asks for 6")
	require.Contains(t, found[1], "until about 2027-03-12")
}
