// Package roster keeps the trainers: what they can do, their weekly pattern of shifts, the days on which they are away or
// work at another site, and the work rules of each site.
//
// It answers who works where on which day and for how many minutes (Days). A shift belongs to the day on which it begins,
// also when it runs past midnight. Sites are kept elsewhere: this package knows their IDs and is handed their codes and
// zones (Sites).
package roster

import (
	"context"
	"log/slog"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// SkillNames are the skills in the order in which files and screens show them.
var SkillNames = []string{"heel", "hold", "recall", "distance", "nerves", "reactivity"}

// CareClassNames are the care classes from the least demanding to the most demanding.
var CareClassNames = []string{"open", "guarded", "restricted"}

// Trainer works with dogs.
type Trainer struct {
	ID   ids.TrainerID `db:"id" json:"id"`
	Code string        `db:"code" json:"code"`
	Name string        `db:"name" json:"name"`
	// Email is personal data. It may be empty; it stays out of JSON, texts and logs.
	Email      string     `db:"email" json:"-"`
	HomeSiteID ids.SiteID `db:"home_site_id" json:"home_site_id"`
	// MinutesADay is the handling minutes that the trainer can give on a working day, 0 to 720.
	MinutesADay int `db:"minutes_a_day" json:"minutes_a_day"`
	// MostDogs is how many dogs the trainer can have in hand at a time, 0 to 20.
	MostDogs int `db:"most_dogs" json:"most_dogs"`
	// CareClasses are the classes of dog that the trainer may handle; without any the trainer handles none.
	CareClasses []string `db:"care_classes" json:"care_classes"`
	// Skills is the level, 1 to 3, by skill. A skill that is absent is not held.
	Skills map[string]int `db:"skills" json:"skills"`
}

// String names the trainer by code, so that printing one gives away no name or address.
func (t Trainer) String() string { return "trainer " + t.Code }

// LogValue keeps the name and address of a trainer out of logs.
func (t Trainer) LogValue() slog.Value { return slog.StringValue(t.Code) }

// Shift is one weekday of a trainer's weekly pattern. Times are local to the site.
type Shift struct {
	TrainerID ids.TrainerID `db:"trainer_id" json:"trainer_id"`
	// Weekday is 1 for Monday to 7 for Sunday, as ISO 8601 counts.
	Weekday int            `db:"weekday" json:"weekday"`
	SiteID  ids.SiteID     `db:"site_id" json:"site_id"`
	Starts  calendar.Clock `db:"starts" json:"starts"`
	// Ends at or before Starts is a time on the next day.
	Ends calendar.Clock `db:"ends" json:"ends"`
	// MealMinutes is the break inside the shift; it is not worked.
	MealMinutes int `db:"meal_minutes" json:"meal_minutes"`
}

// Minutes is the length of the shift by the clock on the wall, the meal included: 1 to 1440. On a night when clocks change
// the true length differs; the work rules are held against that one.
func (s Shift) Minutes() int { return clockMinutes(s.Starts, s.Ends) }

// clockMinutes is the length of a shift; see Shift.Minutes.
func clockMinutes(starts, ends calendar.Clock) int {
	minutes := int(ends) - int(starts)
	if minutes <= 0 {
		minutes += minutesADay
	}
	return minutes
}

const minutesADay = 24 * 60

// Absence is days on which a trainer is away. Nothing about an illness is kept.
type Absence struct {
	ID        ids.AbsenceID `db:"id"`
	TrainerID ids.TrainerID `db:"trainer_id"`
	Days      calendar.Span `db:"days"`
	// Kind is one of AbsenceKinds.
	Kind string `db:"kind"`
}

// AbsenceKinds are the reasons for an absence.
var AbsenceKinds = []string{"leave", "sickness", "duty"}

// Loan is days on which a trainer works at another site than the weekly pattern says. It moves shifts and makes none: a
// weekday without a shift stays free.
type Loan struct {
	ID        ids.LoanID    `db:"id"`
	TrainerID ids.TrainerID `db:"trainer_id"`
	SiteID    ids.SiteID    `db:"site_id"`
	Days      calendar.Span `db:"days"`
}

// WorkRule is the working-time settings of a site. All of them are in minutes, and 0 turns one off. They are settings, not
// law: Citation says where they are from, and law and contract go before them.
type WorkRule struct {
	SiteID ids.SiteID `db:"site_id" json:"site_id"`
	// DailyRestMinutes is the least rest between two shifts.
	DailyRestMinutes int `db:"daily_rest_minutes" json:"daily_rest_minutes"`
	// MealAfterMinutes is the length of shift from which a meal is due, and MealMinutes the least length of that meal.
	MealAfterMinutes int `db:"meal_after_minutes" json:"meal_after_minutes"`
	MealMinutes      int `db:"meal_minutes" json:"meal_minutes"`
	// WeeklyMinutes is the most work in a week, meals left out.
	WeeklyMinutes int `db:"weekly_minutes" json:"weekly_minutes"`
	// WeeklyRestMinutes is the least unbroken rest in a week.
	WeeklyRestMinutes int    `db:"weekly_rest_minutes" json:"weekly_rest_minutes"`
	Citation          string `db:"citation" json:"citation"`
}

// SiteRef is what this package needs to know of a site.
type SiteRef struct {
	ID   ids.SiteID
	Code string
	// Zone is an IANA time zone.
	Zone string
}

// Sites lists every site. The package that keeps the sites provides it.
type Sites func(ctx context.Context, db postgres.DB) ([]SiteRef, error)
