package enrollment

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/internal/outside"
)

func date(text string) calendar.Date { return calendar.MustDate(text) }

func shot(vaccine, given string, course Course, months int) Shot {
	return Shot{Vaccine: vaccine, Given: date(given), Course: course, LabelMonths: months}
}

func rules(t require.TestingT, waiting int, names ...string) []VaccineRule {
	got, err := VaccineRules(names, waiting)
	require.NoError(t, err)
	return got
}

// validOn asks for a stay of one day.
func validOn(t require.TestingT, shots []Shot, waiting int, day string) bool {
	return len(CheckVaccines(shots, rules(t, waiting, Rabies), date(day), date(day))) == 0
}

// firstValid and lastValid look day by day, so that they depend on CheckVaccines alone.
func firstValid(t require.TestingT, shots []Shot, waiting int, from string) string {
	for d, n := date(from), 0; n < 4000; d, n = d.AddDays(1), n+1 {
		if validOn(t, shots, waiting, d.String()) {
			return d.String()
		}
	}
	return "never"
}

func lastValid(t require.TestingT, shots []Shot, waiting int, from string) string {
	d := date(from)
	for validOn(t, shots, waiting, d.AddDays(1).String()) {
		d = d.AddDays(1)
	}
	return d.String()
}

func TestOutsideRabies(t *testing.T) {
	t.Parallel()
	const compendium = "NASPHV compendium 2016, JAVMA 248(5):505-517 (read in state and veterinary association summaries)"
	primary := []Shot{shot(Rabies, "2026-03-01", CoursePrimary, 36)}
	for _, tt := range []struct {
		waiting int
		source  string
		want    string
	}{
		{28, compendium + ": day 28", "2026-03-29"},
		{14, "New York Public Health Law, definition: 14 days", "2026-03-15"},
		{30, "McKinney, Texas: 30 days", "2026-03-31"},
	} {
		outside.Check(t, fmt.Sprintf("first rabies shot 2026-03-01 counts from, %d days", tt.waiting), tt.source, tt.want,
			firstValid(t, primary, tt.waiting, "2026-02-01"))
	}
	outside.Check(t, "first rabies shot 2026-02-10 counts from", compendium+": day 28", "2026-03-10",
		firstValid(t, []Shot{shot(Rabies, "2026-02-10", CoursePrimary, 12)}, 28, "2026-02-01"))

	// The booster is due one year after the first shot whatever the label; overdue from the day after.
	outside.Check(t, "first shot 2026-03-01 with a 3-year label, last valid day", compendium+": booster due 1 year after primary",
		"2027-03-01", lastValid(t, primary, 28, "2026-03-29"))
	outside.Check(t, "valid on the due date 2027-03-01", compendium+": overdue from the day after the due date", true,
		validOn(t, primary, 28, "2027-03-01"))
	outside.Check(t, "valid on 2027-03-02", compendium+": overdue from the day after the due date", false,
		validOn(t, primary, 28, "2027-03-02"))

	late := append(primary, shot(Rabies, "2027-06-01", CourseBooster, 36))
	outside.Check(t, "overdue booster 2027-06-01 counts from", compendium+": any booster is current immediately", "2027-06-01",
		firstValid(t, late, 28, "2027-03-02"))
	outside.Check(t, "that booster, 3-year label, last valid day", compendium+": then by label, 1 or 3 years", "2030-06-01",
		lastValid(t, late, 28, "2027-06-01"))
	yearly := append(primary, shot(Rabies, "2027-02-01", CourseBooster, 12))
	outside.Check(t, "booster 2027-02-01, 1-year label, last valid day", compendium+": then by label, 1 or 3 years", "2028-02-01",
		lastValid(t, yearly, 28, "2026-03-29"))

	leap := []Shot{shot(Rabies, "2023-02-28", CoursePrimary, 12), shot(Rabies, "2024-02-29", CourseBooster, 36)}
	outside.Check(t, "booster on 2024-02-29, 3-year label, last valid day", "safe reading of 29 February, our policy", "2027-02-28",
		lastValid(t, leap, 28, "2024-02-29"))
}

func TestFaults(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name                string
		shots               []Shot
		vaccine             string
		arrival, graduation string
		kind                FaultKind
		from, until         string
		text, remedy        string
	}{
		{"missing", nil, Rabies, "2026-05-01", "2026-05-15", FaultMissing, "", "", "no rabies vaccination is on record", "2026-04-03"},
		{"another vaccine does not help", []Shot{shot("parvo", "2026-01-01", CoursePrimary, 12)}, Rabies, "2026-05-01", "2026-05-15",
			FaultMissing, "", "", "no rabies", "send the certificate"},
		{"too recent", []Shot{shot(Rabies, "2026-04-20", CoursePrimary, 12)}, Rabies, "2026-05-01", "2026-05-15",
			FaultTooRecent, "2026-05-18", "2027-04-20", "counts from 2026-05-18 only", "arrive on or after 2026-05-18"},
		{"lapses on the day before graduation", []Shot{shot(Rabies, "2025-05-14", CoursePrimary, 36)}, Rabies, "2026-05-01", "2026-05-15",
			FaultLapses, "2025-06-11", "2026-05-14", "valid through 2026-05-14 and lapses before the graduation day 2026-05-15", "on or before 2026-05-01"},
		{"holds through graduation day", []Shot{shot(Rabies, "2025-05-15", CoursePrimary, 36)}, Rabies, "2026-05-01", "2026-05-15", "", "", "", "", ""},
		{"lapses before the arrival shot", []Shot{shot(Rabies, "2025-05-02", CoursePrimary, 12)}, Rabies, "2026-05-02", "2026-05-15",
			FaultLapses, "2025-05-30", "2026-05-02", "", "end the stay by 2026-05-02"},
		{"overdue rabies: a booster at once", []Shot{shot(Rabies, "2025-03-01", CoursePrimary, 36)}, Rabies, "2026-05-01", "2026-05-15",
			FaultOverdue, "2025-03-29", "2026-03-01", "lapsed after 2026-03-01", "on or before 2026-05-01"},
		{"overdue bordetella: a week before", []Shot{shot("bordetella", "2025-03-01", CourseBooster, 12)}, "bordetella", "2026-05-01", "2026-05-15",
			FaultOverdue, "2025-03-08", "2026-03-01", "lapsed after 2026-03-01", "on or before 2026-04-24"},
		{"a booster during the gap is found too recent", []Shot{shot("bordetella", "2025-03-01", CourseBooster, 12), shot("bordetella", "2026-04-28", CourseBooster, 12)},
			"bordetella", "2026-05-01", "2026-05-15", FaultTooRecent, "2026-05-05", "2027-04-28", "", "arrive on or after 2026-05-05"},
		{"booster in time: no gap", []Shot{shot("bordetella", "2025-05-03", CoursePrimary, 12), shot("bordetella", "2026-05-02", CourseBooster, 12)},
			"bordetella", "2026-05-01", "2026-05-15", "", "", "", "", ""},
		{"rabies booster on the day after the due date: no gap", []Shot{shot(Rabies, "2025-05-05", CoursePrimary, 12), shot(Rabies, "2026-05-06", CourseBooster, 12)},
			Rabies, "2026-05-01", "2026-05-15", "", "", "", "", ""},
		{"rabies booster two days after the due date: a gap", []Shot{shot(Rabies, "2025-05-05", CoursePrimary, 12), shot(Rabies, "2026-05-07", CourseBooster, 12)},
			Rabies, "2026-05-01", "2026-05-15", FaultLapses, "2025-06-02", "2026-05-05", "", ""},
		{"too recent and too short", []Shot{shot(Rabies, "2026-04-20", CoursePrimary, 1)}, Rabies, "2026-05-01", "2026-05-30",
			FaultTooRecent, "2026-05-18", "2026-05-20", "and lapses after 2026-05-20", "ask the veterinarian when"},
		{"a booster alone is believed", []Shot{shot(Rabies, "2024-06-01", CourseBooster, 36)}, Rabies, "2026-05-01", "2026-05-15", "", "", "", "", ""},
		{"a booster does not shorten the first wait", []Shot{shot(Rabies, "2026-04-20", CoursePrimary, 12), shot(Rabies, "2026-04-27", CourseBooster, 36)},
			Rabies, "2026-05-01", "2026-05-15", FaultTooRecent, "2026-05-18", "2029-04-27", "", "arrive on or after 2026-05-18"},
		{"one dose of two", []Shot{shot("influenza", "2026-04-01", CoursePrimary, 12)}, "influenza", "2026-05-01", "2026-05-15",
			FaultIncomplete, "", "", "takes 2 first doses, 14 to 28 days apart", "2026-04-17"},
		{"two doses, protected 14 days later", []Shot{shot("influenza", "2026-03-20", CoursePrimary, 12), shot("influenza", "2026-04-10", CoursePrimary, 12)},
			"influenza", "2026-04-23", "2026-05-15", FaultTooRecent, "2026-04-24", "2027-04-10", "", "arrive on or after 2026-04-24"},
		{"second dose called a booster", []Shot{shot("influenza", "2026-03-20", CoursePrimary, 12), shot("influenza", "2026-04-10", CourseBooster, 12)},
			"influenza", "2026-04-24", "2026-05-15", "", "", "", "", ""},
		{"doses too close", []Shot{shot("influenza", "2026-03-20", CoursePrimary, 12), shot("influenza", "2026-03-27", CoursePrimary, 12)},
			"influenza", "2026-04-24", "2026-05-15", FaultIncomplete, "", "", "", ""},
		{"doses too far apart", []Shot{shot("influenza", "2026-03-01", CoursePrimary, 12), shot("influenza", "2026-03-30", CoursePrimary, 12)},
			"influenza", "2026-04-24", "2026-05-15", FaultIncomplete, "", "", "", ""},
		{"third dose completes a restarted course", []Shot{shot("influenza", "2026-01-01", CoursePrimary, 12), shot("influenza", "2026-03-20", CoursePrimary, 12),
			shot("influenza", "2026-04-05", CoursePrimary, 12)}, "influenza", "2026-04-24", "2026-05-15", "", "", "", "", ""},
		{"combined core covers parvo", []Shot{shot(" DAPP ", "2026-01-01", CoursePrimary, 36)}, "parvo", "2026-05-01", "2026-05-15", "", "", "", "", ""},
		{"combined core does not cover bordetella", []Shot{shot("dhpp", "2026-01-01", CoursePrimary, 36)}, "bordetella", "2026-05-01", "2026-05-15",
			FaultMissing, "", "", "", ""},
		{"label unknown holds a year", []Shot{shot(Rabies, "2025-05-14", CourseBooster, 0)}, Rabies, "2026-05-01", "2026-05-15",
			FaultLapses, "2025-05-14", "2026-05-14", "", ""},
		{"a label beyond the rule is cut", []Shot{shot("bordetella", "2025-05-14", CourseBooster, 36)}, "bordetella", "2026-05-01", "2026-05-15",
			FaultLapses, "2025-05-21", "2026-05-14", "", ""},
		{"graduation before arrival", []Shot{shot(Rabies, "2025-05-15", CoursePrimary, 12)}, Rabies, "2026-05-15", "2026-05-01", "", "", "", "", ""},
		{"a shot without a date", []Shot{{Vaccine: Rabies, Course: CourseBooster, LabelMonths: 36}}, Rabies, "2026-05-01", "2026-05-15",
			FaultIncomplete, "", "", "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := CheckVaccines(tt.shots, rules(t, 28, tt.vaccine), date(tt.arrival), date(tt.graduation))
			if tt.kind == "" {
				require.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			f := got[0]
			require.Equal(t, tt.vaccine, f.Vaccine)
			require.Equal(t, tt.kind, f.Kind, f.Text)
			require.Equal(t, tt.from, f.ValidFrom.String())
			require.Equal(t, tt.until, f.ValidUntil.String())
			require.Contains(t, f.Text, tt.text)
			require.Contains(t, f.Remedy, tt.remedy)
			require.Contains(t, f.Rule, "JA", "the rule names its citation")
		})
	}
}

func TestVaccineRules(t *testing.T) {
	t.Parallel()
	_, err := VaccineRules([]string{"cowpox"}, 28)
	require.ErrorContains(t, err, `required vaccine "cowpox": no rule is known for it; use one of rabies, dhpp`)
	_, err = VaccineRules([]string{Rabies}, 21)
	require.ErrorContains(t, err, "rabies waiting days 21: use 14, 28 or 30")
	got, err := VaccineRules([]string{"Rabies", "da2pp", "Bordetella"}, 14)
	require.NoError(t, err)
	require.Len(t, got, 3)
	require.Equal(t, 14, got[0].WaitDays)
	require.Equal(t, "dhpp", got[1].Vaccine)

	seen := map[string]bool{}
	for _, r := range VaccineSettings() {
		require.False(t, seen[r.Vaccine])
		seen[r.Vaccine] = true
		require.NotEmpty(t, r.Citation)
		require.GreaterOrEqual(t, r.PrimaryDoses, 1)
		require.Positive(t, r.PrimaryMonths)
		require.GreaterOrEqual(t, r.MostMonths, r.PrimaryMonths)
		require.Contains(t, r.Text(), r.Citation)
		require.Equal(t, r.PrimaryDoses > 1, strings.Contains(r.Text(), "first doses"))
	}
}

func TestSiteMayAskForLess(t *testing.T) {
	t.Parallel()
	r := rules(t, 28, "bordetella")
	r[0].MostMonths = 6 // as many kennels ask
	for _, course := range []Course{CoursePrimary, CourseBooster} {
		faults := CheckVaccines([]Shot{shot("bordetella", "2026-01-10", course, 12)}, r, date("2026-07-01"), date("2026-07-15"))
		require.Len(t, faults, 1)
		require.Equal(t, "2026-07-10", faults[0].ValidUntil.String())
	}
}

func TestEarliestValidArrival(t *testing.T) {
	t.Parallel()
	both := rules(t, 28, Rabies, "bordetella")
	shots := []Shot{shot(Rabies, "2026-04-20", CoursePrimary, 12), shot("bordetella", "2025-05-25", CoursePrimary, 12)}
	require.True(t, EarliestValidArrival(shots, both, date("2026-05-01"), 14).IsZero(), "bordetella lapses before rabies counts long enough")
	shots = append(shots, shot("bordetella", "2026-06-20", CourseBooster, 12))
	require.Equal(t, "2026-06-27", EarliestValidArrival(shots, both, date("2026-05-01"), 14).String())
	require.Equal(t, "2026-07-04", EarliestValidArrival(shots, both, date("2026-07-04"), 14).String())
	require.Equal(t, "2026-05-01", EarliestValidArrival(nil, nil, date("2026-05-01"), 14).String(), "nothing is required")
}

func anyShots(t *rapid.T, base calendar.Date) []Shot {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Shot {
		return Shot{
			Vaccine:     rapid.SampledFrom([]string{Rabies, Rabies, "bordetella", "influenza", "influenza", "dhpp"}).Draw(t, "vaccine"),
			Given:       base.AddDays(rapid.IntRange(-800, 60).Draw(t, "given")),
			Course:      rapid.SampledFrom([]Course{CoursePrimary, CourseBooster}).Draw(t, "course"),
			LabelMonths: rapid.SampledFrom([]int{0, 6, 12, 36}).Draw(t, "label"),
		}
	}), 0, 7).Draw(t, "shots")
}

// TestRabiesAgainstDayByDayReading writes the compendium down a second time, day by day and without periods: on day d the
// dog is current when some first shot is at least N days and at most a year old, or some booster is at most its label old
// and no first shot before it is still waiting.
func TestRabiesAgainstDayByDayReading(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		base := date("2026-05-01")
		shots := anyShots(t, base)
		waiting := rapid.SampledFrom(RabiesWaitingDays()).Draw(t, "waiting")
		current := func(d calendar.Date) bool {
			for i, s := range shots {
				if s.Vaccine != Rabies || s.Given.After(d) {
					continue
				}
				label := s.LabelMonths
				if label == 0 || s.Course == CoursePrimary && label > 12 {
					label = 12
				}
				if d.After(s.Given.AddMonths(label)) {
					continue
				}
				begins := s.Given
				if s.Course == CoursePrimary {
					begins = s.Given.AddDays(waiting)
				}
				// A first shot before this booster (or beside it, listed earlier) that still waits, the latest one.
				latest := calendar.Date{}
				for j, p := range shots {
					if p.Vaccine == Rabies && p.Course == CoursePrimary && (p.Given.Before(s.Given) || p.Given == s.Given && j < i) && p.Given.After(latest) {
						latest = p.Given
					}
				}
				if s.Course == CourseBooster && !latest.IsZero() && latest.AddDays(waiting).After(begins) {
					begins = latest.AddDays(waiting)
				}
				if !d.Before(begins) {
					return true
				}
			}
			return false
		}
		arrival := base.AddDays(rapid.IntRange(-100, 400).Draw(t, "arrival"))
		graduation := arrival.AddDays(rapid.IntRange(0, 30).Draw(t, "nights"))
		all := true
		for d := arrival; !d.After(graduation); d = d.AddDays(1) {
			all = all && current(d)
		}
		faults := CheckVaccines(shots, rules(t, waiting, Rabies), arrival, graduation)
		require.Equal(t, all, len(faults) == 0, "%v", faults)
		for _, f := range faults {
			if f.ValidFrom.IsZero() {
				continue
			}
			require.True(t, current(f.ValidFrom) && current(f.ValidUntil))
			require.False(t, current(f.ValidFrom.AddDays(-1)))
			require.False(t, current(f.ValidUntil.AddDays(1)))
		}
	})
}

func TestVaccineProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		base := date("2026-05-01")
		shots := anyShots(t, base)
		required := rules(t, 28, Rabies, "bordetella", "influenza", "parvo")
		required = required[:rapid.IntRange(0, 4).Draw(t, "required")]
		nights := rapid.IntRange(0, 28).Draw(t, "nights")
		arrival := base.AddDays(rapid.IntRange(-60, 300).Draw(t, "arrival"))
		faults := CheckVaccines(shots, required, arrival, arrival.AddDays(nights))

		// A whole stay is valid exactly when each of its days is.
		days := 0
		for d := arrival; !d.After(arrival.AddDays(nights)); d = d.AddDays(1) {
			days += len(CheckVaccines(shots, required, d, d))
		}
		require.Equal(t, days == 0, len(faults) == 0)
		for _, f := range faults {
			require.NotEmpty(t, f.Text)
			require.NotEmpty(t, f.Remedy)
		}
		// The order in which shots were entered on different days does not matter.
		if len(shots) > 1 && shots[0].Given != shots[len(shots)-1].Given {
			turned := append([]Shot{shots[len(shots)-1]}, shots[:len(shots)-1]...)
			distinct := map[calendar.Date]bool{}
			for _, s := range shots {
				distinct[s.Given] = true
			}
			if len(distinct) == len(shots) {
				require.Equal(t, faults, CheckVaccines(turned, required, arrival, arrival.AddDays(nights)))
			}
		}

		// The earliest arrival is valid and every earlier day is not.
		earliest := EarliestValidArrival(shots, required, base, nights)
		for i := range 500 {
			a := base.AddDays(i)
			if a == earliest {
				require.Empty(t, CheckVaccines(shots, required, a, a.AddDays(nights)))
				break
			}
			require.NotEmpty(t, CheckVaccines(shots, required, a, a.AddDays(nights)))
		}
	})
}
