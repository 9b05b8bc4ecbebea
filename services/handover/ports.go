package handover

import (
	"context"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// KindSettings names how sites hold handovers.
const KindSettings = "handover-settings"

// Ports returns the ways in and out of this package's records.
func Ports(known Known) []records.Port { return []records.Port{settingsPort(known)} }

func settingsPort(known Known) records.Port {
	whole := func(name, example, about string, least, most int) sheet.Column {
		return sheet.Column{Name: name, Form: sheet.FormWhole, Required: true, Min: least, Max: most, Example: example, About: about}
	}
	text := func(name, example, about string) sheet.Column {
		return sheet.Column{Name: name, Form: sheet.FormText, Max: 300, Example: example, About: about}
	}
	many := func(c sheet.Column) sheet.Column { c.Many = true; return c }
	return records.Port{
		Kind: sheet.Kind{Name: KindSettings, About: "How a site holds handovers; a site that is not listed has what is usual", Key: []string{"site"}, Columns: []sheet.Column{
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: "sites", Example: "HILL", About: "code of the site"},
			{Name: "area", Form: sheet.FormCode, Refers: "areas", Example: "QUIET", About: "area in which skills are shown; empty to leave it open"},
			{Name: "gates", Form: sheet.FormText, Required: true, Many: true, Max: 60, Example: "main gate|north gate", About: "gates at which owners arrive"},
			whole("gate_minutes", "10", "minutes at least between the begins, and the ends, of two appointments at a gate", 0, 120),
			whole("minutes", "90", "usual length of a handover", 60, 120),
			whole("lesson_minutes", "45", "usual length of a lesson after the stay", 15, 120),
			{Name: "first_start", Form: sheet.FormClock, Required: true, Example: "09:00", About: "earliest begin of a handover, local time"},
			{Name: "last_end", Form: sheet.FormClock, Required: true, Example: "17:00", About: "latest end of a handover, local time"},
			whole("move_hours", "24", "hours before the begin until which owners may choose another time themselves", 0, 336),
			text("phone", "555-0100", "whom owners call"),
			text("place", "17 Mill Lane, Hillside", "how owners find the site"),
			text("who", "Everybody who will walk the dog", "who must come"),
			many(text("bring", "a flat collar|a crate for the car", "what to bring")),
			many(text("leave_home", "other dogs", "what to leave at home")),
			{Name: "note", Form: sheet.FormText, Max: 500, Example: "agreed in January", About: "where this is from"},
		}},
		Within: map[string]string{"area": "site"},
		Check:  checkSetting,
		Put:    putSettingRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			n, err := known.readNames(ctx, db, nil)
			if err != nil {
				return nil, err
			}
			sites, err := known.Sites(ctx, db)
			if err != nil {
				return nil, err
			}
			set, err := listSettings(ctx, db)
			var out [][]string
			for _, site := range sites {
				for _, s := range set {
					if s.SiteID == site.ID {
						out = append(out, []string{site.Code, n.areas[s.AreaID].Code, sheet.List(s.Gates...), sheet.Int(s.GateMinutes), sheet.Int(s.Minutes), sheet.Int(s.LessonMinutes),
							s.FirstStart.String(), s.LastEnd.String(), sheet.Int(s.MoveHours), s.Phone, s.Place, s.Who, sheet.List(s.Bring...), sheet.List(s.LeaveHome...), s.Note})
					}
				}
			}
			return out, err
		},
	}
}

func checkSetting(row records.Row) []records.Wrong {
	if row.Clock("last_end") <= row.Clock("first_start") {
		return []records.Wrong{row.Wrong("last_end", "is not after first_start", "write the end of the hours in which handovers are held")}
	}
	return nil
}

func putSettingRows(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
	all := make([]Setting, len(rows))
	for i, row := range rows {
		all[i] = Setting{SiteID: ids.SiteID(row.Ref("site")), AreaID: ids.AreaID(row.Ref("area")), Gates: row.List("gates"), GateMinutes: row.Int("gate_minutes"),
			Minutes: row.Int("minutes"), LessonMinutes: row.Int("lesson_minutes"), FirstStart: row.Clock("first_start"), LastEnd: row.Clock("last_end"),
			MoveHours: row.Int("move_hours"), Phone: row.Text("phone"), Place: row.Text("place"), Who: row.Text("who"), Bring: notNil(row.List("bring")),
			LeaveHome: notNil(row.List("leave_home")), Note: row.Text("note")}
	}
	return nil, putSettings(ctx, tx, all)
}

// notNil is for columns that hold an empty list and no NULL.
func notNil(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}
