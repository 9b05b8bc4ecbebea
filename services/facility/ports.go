package facility

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// Names of the kinds of record that this package keeps.
const (
	KindSites      = "sites"
	KindRuns       = "runs"
	KindClosures   = "closures"
	KindAreas      = "areas"
	KindPlaces     = "places"
	KindExceptions = "place-exceptions"

	KindAreaClosures = "area-closures"
	KindForecast     = "forecast"
)

// Ports returns the ways in and out of this package's records, in import order.
func Ports() []records.Port {
	return []records.Port{sitesPort(), runsPort(), closuresPort(), areasPort(), areaClosuresPort(), placesPort(), exceptionsPort(), forecastPort()}
}

func sitesPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindSites, About: "Sites with their rules", Key: []string{"code"}, Columns: []sheet.Column{
			{Name: "code", Form: sheet.FormCode, Required: true, Example: "HILL", About: "short name used in other files"},
			{Name: "name", Form: sheet.FormText, Required: true, Max: 120, Example: "Hillside Yard", About: "name for people"},
			{Name: "zone", Form: sheet.FormText, Required: true, Max: 60, Example: "America/Denver", About: "IANA time zone"},
			{Name: "rabies_waiting_days", Form: sheet.FormWhole, Required: true, Min: 14, Max: 30, Example: "28", About: "days until a first rabies shot counts here: 14, 28 or 30"},
			{Name: "required_vaccines", Form: sheet.FormText, Many: true, Max: 40, Example: "rabies|distemper|bordetella", About: "vaccines that must hold from arrival through graduation"},
			{Name: "floor_percent", Form: sheet.FormWhole, Required: true, Min: 100, Max: 400, Example: "100", About: "floor space asked for, in percent of the 9 CFR 3.6 formula"},
			{Name: "clean_down_days", Form: sheet.FormWhole, Required: true, Min: 0, Max: 7, Example: "1", About: "days a run stays empty between two dogs"},
			{Name: "rules_note", Form: sheet.FormText, Max: 500, Example: "local rabies rule: ask the county", About: "where these rules are from"},
			{Name: "heat_closed_f", Form: sheet.FormWhole, Example: "85", About: "heat index in F above which work outdoors is closed; empty for 85"},
			{Name: "heat_sensitive_f", Form: sheet.FormWhole, Example: "75", About: "the same for dogs at special risk; empty for 75"},
		}},
		Check: checkSite,
		Put:   putSiteRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			sites, err := ListSites(ctx, db)
			return records.Cells(sites, func(s Site) []string {
				return []string{s.Code, s.Name, s.Zone, sheet.Int(s.RabiesWaitingDays), sheet.List(s.RequiredVaccines...),
					sheet.Int(s.FloorPercent), sheet.Int(s.CleanDownDays), s.RulesNote, blankZero(s.HeatClosedF), blankZero(s.HeatSensitiveF)}
			}), err
		},
		Codes: SiteCodes,
	}
}

func checkSite(row records.Row) []records.Wrong {
	var wrong []records.Wrong
	if _, err := calendar.LoadZone(row.Text("zone")); err != nil {
		wrong = append(wrong, row.Wrong("zone", "is not an IANA time zone", "write a name such as America/Denver or Europe/London"))
	}
	switch row.Int("rabies_waiting_days") {
	case 14, 28, 30:
	default:
		wrong = append(wrong, row.Wrong("rabies_waiting_days", "is none of the waiting periods in use", "write 14, 28 or 30; your health department knows which"))
	}
	return wrong
}

func runsPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindRuns, About: "Kennel runs with their inner dimensions", Key: []string{"site", "run"}, Columns: []sheet.Column{
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: KindSites, Example: "HILL", About: "code of the site"},
			{Name: "run", Form: sheet.FormCode, Required: true, Example: "A1", About: "number painted on the run"},
			{Name: "row", Form: sheet.FormText, Max: 40, Example: "A", About: "row of runs it stands in"},
			{Name: "length_mm", Form: sheet.FormWhole, Required: true, Min: 300, Max: 20000, Example: "2400", About: "inner length in millimetres"},
			{Name: "width_mm", Form: sheet.FormWhole, Required: true, Min: 300, Max: 20000, Example: "1200", About: "inner width in millimetres"},
			{Name: "height_mm", Form: sheet.FormWhole, Required: true, Min: 300, Max: 10000, Example: "1800", About: "inner height in millimetres"},
			{Name: "isolation", Form: sheet.FormYesNo, Required: true, Example: "no", About: "yes for a run held back for isolation"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
			runs := make([]Run, len(rows))
			for i, row := range rows {
				runs[i] = Run{ID: ids.RunID(in.Mint()), SiteID: ids.SiteID(row.Ref("site")), Code: row.Text("run"), Row: row.Text("row"),
					LengthMM: row.Int("length_mm"), WidthMM: row.Int("width_mm"), HeightMM: row.Int("height_mm"), Isolation: row.Yes("isolation")}
			}
			return nil, putRuns(ctx, tx, runs)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			runs, err := ListRuns(ctx, db)
			if err != nil {
				return nil, err
			}
			code, err := siteNames(ctx, db)
			return records.Cells(runs, func(r Run) []string {
				return []string{code[r.SiteID], r.Code, r.Row, sheet.Int(r.LengthMM), sheet.Int(r.WidthMM), sheet.Int(r.HeightMM), sheet.YesNo(r.Isolation)}
			}), err
		},
		Codes: RunCodes,
	}
}

func closuresPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindClosures, About: "Days on which runs are out of use", Key: []string{"site", "run", "first_day"}, Columns: []sheet.Column{
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: KindSites, Example: "HILL", About: "code of the site"},
			{Name: "run", Form: sheet.FormCode, Required: true, Refers: KindRuns, Example: "A1", About: "number of the run"},
			{Name: "first_day", Form: sheet.FormDay, Required: true, Example: "2027-03-08", About: "first closed day"},
			{Name: "last_day", Form: sheet.FormDay, Required: true, Example: "2027-03-14", About: "last closed day"},
			{Name: "reason", Form: sheet.FormText, Required: true, Max: 200, Example: "new drains", About: "why"},
		}},
		Within:   map[string]string{"run": "site"},
		Together: true,
		Check: func(row records.Row) []records.Wrong {
			if row.Day("last_day").Before(row.Day("first_day")) {
				return []records.Wrong{row.Wrong("last_day", "is before the first day", "write the last day on which the run is closed")}
			}
			return nil
		},
		Put: func(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
			closures := make([]Closure, len(rows))
			for i, row := range rows {
				closures[i] = Closure{ID: ids.ClosureID(in.Mint()), RunID: ids.RunID(row.Ref("run")), Reason: row.Text("reason"),
					Days: calendar.Span{From: row.Day("first_day"), To: row.Day("last_day").AddDays(1)}}
			}
			return putClosures(ctx, tx, rows, closures)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			runs, err := ListRuns(ctx, db)
			if err != nil {
				return nil, err
			}
			code, err := siteNames(ctx, db)
			var out [][]string
			for _, r := range runs {
				for _, c := range r.Closures {
					out = append(out, []string{code[r.SiteID], r.Code, sheet.Day(c.Days.From), sheet.Day(c.Days.To.AddDays(-1)), c.Reason})
				}
			}
			return out, err
		},
	}
}

func areasPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindAreas, About: "Training areas", Key: []string{"site", "area"}, Columns: []sheet.Column{
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: KindSites, Example: "HILL", About: "code of the site"},
			{Name: "area", Form: sheet.FormCode, Required: true, Example: "north-yard", About: "short name of the area"},
			{Name: "kind", Form: sheet.FormChoice, OneOf: []string{"quiet room", "hall", "yard", "field"}, Required: true, Example: "yard", About: "what it is"},
			{Name: "dogs_at_once", Form: sheet.FormWhole, Required: true, Min: 1, Max: 100, Example: "2", About: "dogs that can work there at the same time"},
			{Name: "outdoors", Form: sheet.FormYesNo, Example: "yes", About: "whether heat closes it; empty: a yard and a field are outdoors, a hall and a quiet room are not"},
		}},
		Put: putAreaRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			areas, err := ListAreas(ctx, db)
			if err != nil {
				return nil, err
			}
			code, err := siteNames(ctx, db)
			return records.Cells(areas, func(a Area) []string {
				return []string{code[a.SiteID], a.Code, a.Kind, sheet.Int(a.DogsAtOnce), sheet.YesNo(a.Outdoors)}
			}), err
		},
		Codes: AreaCodes,
	}
}

func placesColumns(first sheet.Column, last ...sheet.Column) []sheet.Column {
	columns := []sheet.Column{
		{Name: "site", Form: sheet.FormCode, Required: true, Refers: KindSites, Example: "HILL", About: "code of the site"},
		first,
		{Name: "intake", Form: sheet.FormWhole, Required: true, Min: 0, Max: 200, Example: "3", About: "dogs that can arrive"},
		{Name: "handover", Form: sheet.FormWhole, Required: true, Min: 0, Max: 200, Example: "3", About: "dogs that can go home"},
	}
	return append(columns, last...)
}

func placesPort() records.Port {
	weekday := sheet.Column{Name: "weekday", Form: sheet.FormChoice, OneOf: calendar.Weekdays(), Required: true, Example: "monday", About: "day of the week"}
	return records.Port{
		Kind: sheet.Kind{Name: KindPlaces, About: "Intake and handover places by weekday", Key: []string{"site", "weekday"}, Columns: placesColumns(weekday)},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			places := make([]weekdayPlaces, len(rows))
			for i, row := range rows {
				places[i] = weekdayPlaces{SiteID: ids.SiteID(row.Ref("site")), Weekday: calendar.WeekdayNumber(row.Text("weekday")),
					Intake: row.Int("intake"), Handover: row.Int("handover")}
			}
			return nil, putWeekdayPlaces(ctx, tx, places)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			places, err := listWeekdayPlaces(ctx, db)
			if err != nil {
				return nil, err
			}
			code, err := siteNames(ctx, db)
			return records.Cells(places, func(p weekdayPlaces) []string {
				return []string{code[p.SiteID], calendar.Weekdays()[p.Weekday-1], sheet.Int(p.Intake), sheet.Int(p.Handover)}
			}), err
		},
	}
}

func exceptionsPort() records.Port {
	day := sheet.Column{Name: "day", Form: sheet.FormDay, Required: true, Example: "2027-03-19", About: "the day"}
	note := sheet.Column{Name: "note", Form: sheet.FormText, Max: 200, Example: "staff day", About: "why the day differs"}
	return records.Port{
		Kind: sheet.Kind{Name: KindExceptions, About: "Days whose places differ from their weekday", Key: []string{"site", "day"}, Columns: placesColumns(day, note)},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			exceptions := make([]dayException, len(rows))
			for i, row := range rows {
				exceptions[i] = dayException{SiteID: ids.SiteID(row.Ref("site")), Day: row.Day("day"), Intake: row.Int("intake"),
					Handover: row.Int("handover"), Note: row.Text("note")}
			}
			return nil, putExceptions(ctx, tx, exceptions)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			exceptions, err := listExceptions(ctx, db, calendar.Span{})
			if err != nil {
				return nil, err
			}
			code, err := siteNames(ctx, db)
			return records.Cells(exceptions, func(e dayException) []string {
				return []string{code[e.SiteID], sheet.Day(e.Day), sheet.Int(e.Intake), sheet.Int(e.Handover), e.Note}
			}), err
		},
	}
}

// siteNames maps the ID of each site to its code.
func siteNames(ctx context.Context, db postgres.DB) (map[ids.SiteID]string, error) {
	byCode, err := SiteCodes(ctx, db)
	names := make(map[ids.SiteID]string, len(byCode))
	for code, id := range byCode {
		names[ids.SiteID(id)] = code
	}
	return names, err
}
