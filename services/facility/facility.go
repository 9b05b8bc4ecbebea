// Package facility keeps the places: sites with their rules, runs and their closures, training areas with theirs, the intake and
// handover places of each day, and the weather that people expect at a site (conditions.go).
//
// A run has no class of its own: it follows from the run's inner dimensions (floor.go), so that a measured run and its class
// cannot disagree. Isolation runs are listed like others and marked; whoever plans leaves them out.
package facility

import (
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/workload"
)

// Site is a place where dogs live and are trained. Its rules are settings; RulesNote says where they are from.
type Site struct {
	ID   ids.SiteID `db:"id" json:"id"`
	Code string     `db:"code" json:"code"`
	Name string     `db:"name" json:"name"`
	// Zone is an IANA time zone, such as "America/Denver".
	Zone string `db:"zone" json:"zone"`
	// RabiesWaitingDays is when a first rabies vaccination begins to count here: 14, 28 or 30 days after it.
	RabiesWaitingDays int `db:"rabies_waiting_days" json:"rabies_waiting_days"`
	// RequiredVaccines must be valid on every day from arrival through graduation.
	RequiredVaccines []string `db:"required_vaccines" json:"required_vaccines"`
	// FloorPercent is the floor space asked for, in percent of the formula of 9 CFR 3.6(c)(1)(i).
	FloorPercent int `db:"floor_percent" json:"floor_percent"`
	// CleanDownDays is how long a run stays empty between two dogs.
	CleanDownDays int    `db:"clean_down_days" json:"clean_down_days"`
	RulesNote     string `db:"rules_note" json:"rules_note"`
	// HeatClosedF and HeatSensitiveF are the heat indices, in degrees Fahrenheit, above which work outdoors is closed for all dogs and for
	// those at special risk; 0 is the default of workload.HeatLimits. They are left out of texts when they are not set, so that what was
	// planned before they were known keeps its fingerprint.
	HeatClosedF    int `db:"heat_closed_f" json:"heat_closed_f,omitempty"`
	HeatSensitiveF int `db:"heat_sensitive_f" json:"heat_sensitive_f,omitempty"`
}

// HeatLimits are the site's limits of heat.
func (s Site) HeatLimits() workload.HeatLimits {
	return workload.HeatLimits{ClosedF: s.HeatClosedF, SensitiveF: s.HeatSensitiveF}
}

// Run is a kennel enclosure. Dimensions are inner ones, in millimetres.
type Run struct {
	ID     ids.RunID  `db:"id" json:"id"`
	SiteID ids.SiteID `db:"site_id" json:"site_id"`
	// Code is the number painted on it, unique at its site.
	Code      string `db:"code" json:"code"`
	Row       string `db:"row_name" json:"row_name"`
	LengthMM  int    `db:"length_mm" json:"length_mm"`
	WidthMM   int    `db:"width_mm" json:"width_mm"`
	HeightMM  int    `db:"height_mm" json:"height_mm"`
	Isolation bool   `db:"isolation" json:"isolation"`
	// Closures are the spans in which the run is out of use, in order; not a column.
	Closures []Closure `db:"-" json:"closures,omitempty"`
}

// Class is the run's class by floor space.
func (r Run) Class() Class { return ClassOf(FloorMM2(r.LengthMM, r.WidthMM), DefaultThresholds) }

// ClosedOn reports whether the run is out of use on the night that begins on d.
func (r Run) ClosedOn(d calendar.Date) bool {
	for _, c := range r.Closures {
		if c.Days.Contains(d) {
			return true
		}
	}
	return false
}

// Closure takes a run out of use for some days.
type Closure struct {
	ID     ids.ClosureID `db:"id" json:"id"`
	RunID  ids.RunID     `db:"run_id" json:"run_id"`
	Days   calendar.Span `db:"days" json:"days"`
	Reason string        `db:"reason" json:"reason"`
}

// Area is a training area.
type Area struct {
	ID     ids.AreaID `db:"id" json:"id"`
	SiteID ids.SiteID `db:"site_id" json:"site_id"`
	Code   string     `db:"code" json:"code"`
	// Kind is quiet room, hall, yard or field.
	Kind       string `db:"kind" json:"kind"`
	DogsAtOnce int    `db:"dogs_at_once" json:"dogs_at_once"`
	// Outdoors says that heat closes it; a yard and a field are, a hall and a quiet room are not, unless the school says otherwise.
	Outdoors bool `db:"outdoors" json:"outdoors"`
}

// outdoorKind is whether an area of a kind lies outdoors where nobody says otherwise.
func outdoorKind(kind string) bool { return kind == "yard" || kind == "field" }

// DayPlaces is how many dogs a site can take in and hand over on one day.
type DayPlaces struct {
	Day      calendar.Date
	Intake   int
	Handover int
	// Note says why the day differs from its weekday; it may be empty, and is when the day does not differ.
	Note string
}
