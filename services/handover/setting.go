package handover

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// Setting is how a site holds handovers. Lengths and habits are common practice, no source.
type Setting struct {
	SiteID ids.SiteID `db:"site_id" json:"site_id"`
	// AreaID is where skills are shown; absent where it is left open.
	AreaID ids.AreaID `db:"area_id" json:"area_id"`
	// Gates are where owners arrive, at least one.
	Gates []string `db:"gates" json:"gates"`
	// GateMinutes lie at least between the begins, and between the ends, of two appointments at a gate, 0 to 120.
	GateMinutes int `db:"gate_minutes" json:"gate_minutes"`
	// Minutes is the usual length of a handover, 60 to 120; LessonMinutes that of a lesson, 15 to 120.
	Minutes       int `db:"minutes" json:"minutes"`
	LessonMinutes int `db:"lesson_minutes" json:"lesson_minutes"`
	// FirstStart and LastEnd are the hours in which handovers are held, as clocks at the site show them.
	FirstStart calendar.Clock `db:"first_start" json:"first_start"`
	LastEnd    calendar.Clock `db:"last_end" json:"last_end"`
	// MoveHours is until how many hours before the begin an owner may choose another time, 0 to 336.
	MoveHours int `db:"move_hours" json:"move_hours"`
	// Phone is whom to call and Place how to find the site; both may be empty.
	Phone string `db:"phone" json:"phone"`
	Place string `db:"place" json:"place"`
	// Who says who must come.
	Who string `db:"who" json:"who"`
	// Bring and LeaveHome are what to bring and what to leave at home.
	Bring     []string `db:"bring" json:"bring"`
	LeaveHome []string `db:"leave_home" json:"leave_home"`
	Note      string   `db:"note" json:"note"`
}

// Defaults are the settings of a site that has none of its own: common practice, no source.
func Defaults(site ids.SiteID) Setting {
	return Setting{SiteID: site, Gates: []string{"main gate"}, GateMinutes: 10, Minutes: 90, LessonMinutes: 45,
		FirstStart: calendar.MustClock("09:00"), LastEnd: calendar.MustClock("17:00"), MoveHours: 24,
		Who: "Everybody who will walk and look after the dog at home; at least one adult.",
		Bring: []string{"a flat collar that fits, and a plain lead of about 2 m (6 ft)", "a crate or a seat-belt harness for the drive home",
			"shoes for wet grass: part of it is outdoors", "your questions, on paper"},
		LeaveHome: []string{"other dogs", "leads that roll up", "children too small to stand still for an hour, unless a second adult looks after them"}}
}

// ReadSetting reads how a site holds handovers.
func ReadSetting(ctx context.Context, db postgres.DB, site ids.SiteID) (Setting, error) {
	all, err := listSettings(ctx, db)
	for _, s := range all {
		if s.SiteID == site {
			return s, err
		}
	}
	return Defaults(site), err
}
