package facility

import (
	"context"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// putSiteRows writes sites. What a file has no column for stays as it is: a file of old must not lift a limit that was set since.
func putSiteRows(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) (wrong []records.Wrong, err error) {
	known, err := ListSites(ctx, tx)
	if err != nil {
		return nil, err
	}
	before := map[string]Site{}
	for _, s := range known {
		before[s.Code] = s
	}
	var sites []Site
	for _, row := range rows {
		s := Site{ID: ids.SiteID(in.Mint()), Code: row.Text("code"), Name: row.Text("name"), Zone: row.Text("zone"),
			RabiesWaitingDays: row.Int("rabies_waiting_days"), RequiredVaccines: append([]string{}, row.List("required_vaccines")...),
			FloorPercent: row.Int("floor_percent"), CleanDownDays: row.Int("clean_down_days"), RulesNote: row.Text("rules_note"),
			HeatClosedF: before[row.Text("code")].HeatClosedF, HeatSensitiveF: before[row.Text("code")].HeatSensitiveF}
		if row.Given("heat_closed_f") {
			s.HeatClosedF = row.Int("heat_closed_f")
		}
		if row.Given("heat_sensitive_f") {
			s.HeatSensitiveF = row.Int("heat_sensitive_f")
		}
		if err := s.HeatLimits().Validate(); err != nil {
			column := "heat_closed_f"
			if row.Has("heat_sensitive_f") {
				column = "heat_sensitive_f"
			}
			wrong = append(wrong, row.Wrong(column, "makes a "+err.Error(), "ask a veterinarian and your local code, or leave both empty for the defaults"))
			continue
		}
		sites = append(sites, s)
	}
	return wrong, putSites(ctx, tx, sites)
}

// putAreaRows writes areas. Where a file has no column for it, a known area stays outdoors or not.
func putAreaRows(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
	known, err := ListAreas(ctx, tx)
	if err != nil {
		return nil, err
	}
	type key struct {
		site ids.SiteID
		code string
	}
	before := map[key]bool{}
	for _, a := range known {
		before[key{a.SiteID, a.Code}] = a.Outdoors
	}
	areas := make([]Area, len(rows))
	for i, row := range rows {
		a := Area{ID: ids.AreaID(in.Mint()), SiteID: ids.SiteID(row.Ref("site")), Code: row.Text("area"),
			Kind: row.Text("kind"), DogsAtOnce: row.Int("dogs_at_once"), Outdoors: outdoorKind(row.Text("kind"))}
		was, isKnown := before[key{a.SiteID, a.Code}]
		switch {
		case row.Has("outdoors"):
			a.Outdoors = row.Yes("outdoors")
		case isKnown && !row.Given("outdoors"):
			a.Outdoors = was
		}
		areas[i] = a
	}
	return nil, putAreas(ctx, tx, areas)
}

// blankZero writes a number whose zero means "not set".
func blankZero(n int) string {
	if n == 0 {
		return ""
	}
	return sheet.Int(n)
}

func areaClosuresPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindAreaClosures, About: "When training areas are out of use", Key: []string{"site", "area", "starts"}, Columns: []sheet.Column{
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: KindSites, Example: "HILL", About: "code of the site"},
			{Name: "area", Form: sheet.FormCode, Required: true, Refers: KindAreas, Example: "north-yard", About: "short name of the area"},
			{Name: "starts", Form: sheet.FormText, Required: true, Max: 40, Example: "2027-07-14 08:00", About: "from when, by the site's clocks"},
			{Name: "ends", Form: sheet.FormText, Required: true, Max: 40, Example: "2027-07-14 12:00", About: "when it opens again; another end for the same start replaces it"},
			{Name: "reason", Form: sheet.FormText, Required: true, Max: 200, Example: "fence is mended", About: "why"},
		}},
		Within:   map[string]string{"area": "site"},
		Together: true,
		Put:      putAreaClosureRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			closures, err := listAllAreaClosures(ctx, db)
			if err != nil {
				return nil, err
			}
			areas, err := ListAreas(ctx, db)
			if err != nil {
				return nil, err
			}
			at := map[ids.AreaID]Area{}
			for _, a := range areas {
				at[a.ID] = a
			}
			code, zones, err := siteZones(ctx, db)
			return records.Cells(closures, func(c AreaClosure) []string {
				a := at[c.AreaID]
				return []string{code[a.SiteID], a.Code, momentText(c.From, zones[a.SiteID]), momentText(c.To, zones[a.SiteID]), c.Reason}
			}), err
		},
	}
}

func putAreaClosureRows(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) (wrong []records.Wrong, err error) {
	_, zones, err := siteZones(ctx, tx)
	if err != nil {
		return nil, err
	}
	var closures []AreaClosure
	seen := map[string]int{}
	for _, row := range rows {
		zone := zones[ids.SiteID(row.Ref("site"))]
		c := AreaClosure{ID: ids.ClosureID(in.Mint()), AreaID: ids.AreaID(row.Ref("area")), Reason: row.Text("reason")}
		var fault *Fault
		if c.From, fault = Moment("starts", row.Text("starts"), zone); fault == nil {
			c.To, fault = Moment("ends", row.Text("ends"), zone)
		}
		if fault == nil && !c.To.After(c.From) {
			fault = &Fault{"ends", "is not after the start", "write when the area opens again"}
		}
		key := fmt.Sprint(c.AreaID, c.From)
		if line, twice := seen[key]; fault == nil && twice {
			fault = &Fault{"starts", fmt.Sprintf("is the same instant as on line %d", line), "keep one of the two lines"}
		}
		if fault != nil {
			wrong = append(wrong, row.Wrong(fault.Field, fault.Rule, fault.Remedy))
			continue
		}
		seen[key] = row.Line
		closures = append(closures, c)
	}
	return wrong, PutAreaClosures(ctx, tx, closures)
}

func forecastPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindForecast, About: "Weather expected at a site, hour by hour", Key: []string{"site", "hour"}, Columns: []sheet.Column{
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: KindSites, Example: "HILL", About: "code of the site"},
			{Name: "hour", Form: sheet.FormText, Required: true, Max: 40, Example: "2027-07-14 14:00", About: "the hour that begins then, by the site's clocks"},
			{Name: "temperature", Form: sheet.FormTenths, Required: true, Min: coldestF, Max: hottestF, Example: "93", About: "temperature of the air in the shade"},
			{Name: "unit", Form: sheet.FormChoice, OneOf: []string{UnitF, UnitC}, Required: true, Example: "F", About: "F for Fahrenheit, C for Celsius"},
			{Name: "humidity", Form: sheet.FormWhole, Required: true, Min: 0, Max: 100, Example: "45", About: "relative humidity in percent"},
			{Name: "source", Form: sheet.FormText, Required: true, Max: 200, Example: "county forecast of 06:00", About: "where the figures are from"},
		}},
		Together: true,
		Put:      putForecastRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			hours, err := listAllForecasts(ctx, db)
			if err != nil {
				return nil, err
			}
			code, zones, err := siteZones(ctx, db)
			return records.Cells(hours, func(h ForecastHour) []string {
				return []string{code[h.SiteID], momentText(h.Hour, zones[h.SiteID]), sheet.Tenths(h.TemperatureTenths), h.Unit, sheet.Int(h.Humidity), h.Source}
			}), err
		},
	}
}

func putForecastRows(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) (wrong []records.Wrong, err error) {
	_, zones, err := siteZones(ctx, tx)
	if err != nil {
		return nil, err
	}
	var hours []ForecastHour
	seen := map[string]int{}
	for _, row := range rows {
		h := ForecastHour{SiteID: ids.SiteID(row.Ref("site")), TemperatureTenths: row.Int("temperature"), Unit: row.Text("unit"),
			Humidity: row.Int("humidity"), Source: row.Text("source")}
		var fault *Fault
		if h.Hour, fault = Moment("hour", row.Text("hour"), zones[h.SiteID]); fault == nil {
			fault = h.Check(zones[h.SiteID])
		}
		key := fmt.Sprint(h.SiteID, h.Hour)
		if line, twice := seen[key]; fault == nil && twice {
			fault = &Fault{"hour", fmt.Sprintf("is the same hour as on line %d", line), "keep one of the two lines"}
		}
		if fault != nil {
			wrong = append(wrong, row.Wrong(fault.Field, fault.Rule, fault.Remedy))
			continue
		}
		seen[key] = row.Line
		hours = append(hours, h)
	}
	return wrong, PutForecast(ctx, tx, hours)
}

// siteZones returns the code and the zone of each site.
func siteZones(ctx context.Context, db postgres.DB) (codes map[ids.SiteID]string, zones map[ids.SiteID]*time.Location, err error) {
	sites, err := ListSites(ctx, db)
	codes, zones = map[ids.SiteID]string{}, map[ids.SiteID]*time.Location{}
	for _, s := range sites {
		codes[s.ID] = s.Code
		if zones[s.ID], err = calendar.LoadZone(s.Zone); err != nil {
			return nil, nil, fmt.Errorf("zone of site %s: %w", s.Code, err)
		}
	}
	return codes, zones, err
}
