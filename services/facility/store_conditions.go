package facility

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// AreaCodes maps "site/area" to the ID of each area.
func AreaCodes(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list codes", `select s.code || '/' || a.code, a.id from facility.area a join facility.site s on s.id = a.site_id`)
}

// FindArea returns the area of a site with a code. It returns NotFound when there is none.
func FindArea(ctx context.Context, db postgres.DB, site Site, code string) (Area, error) {
	area, err := postgres.One[Area](ctx, db, "find area "+code, `
		select id, site_id, code, kind, dogs_at_once, outdoors from facility.area where site_id = $1 and code = $2`, site.ID, code)
	if postgres.NoRows(err) {
		return Area{}, apperr.NotFoundf("AREA_UNKNOWN", "there is no training area %q at %s: `longlead export areas` lists them", code, site.Code)
	}
	return area, err
}

const areaClosureColumns = `c.id, c.area_id, c.starts_at, c.ends_at, c.reason`

// ListAreaClosures returns the closures of a site's areas that touch the time from one instant to another, by area and start.
func ListAreaClosures(ctx context.Context, db postgres.DB, site ids.SiteID, from, to time.Time) ([]AreaClosure, error) {
	return postgres.List[AreaClosure](ctx, db, "list closures of areas", `
		select `+areaClosureColumns+` from facility.area_closure c join facility.area a on a.id = c.area_id
		where a.site_id = $1 and c.starts_at < $3 and c.ends_at > $2 order by a.code, c.starts_at`, site, from, to)
}

func listAllAreaClosures(ctx context.Context, db postgres.DB) ([]AreaClosure, error) {
	return postgres.List[AreaClosure](ctx, db, "list all closures of areas", `
		select `+areaClosureColumns+` from facility.area_closure c join facility.area a on a.id = c.area_id
		join facility.site s on s.id = a.site_id order by s.code, a.code, c.starts_at`)
}

// PutAreaClosures writes closures; one with a known area and start replaces that one's end and reason. No two of them may have both alike.
func PutAreaClosures(ctx context.Context, tx postgres.Tx, closures []AreaClosure) error {
	if len(closures) == 0 {
		return nil
	}
	_, err := tx.Exec(ctx, `
		insert into facility.area_closure (id, area_id, starts_at, ends_at, reason)
		select id, area_id, starts_at, ends_at, reason
		from jsonb_to_recordset($1) as r(id uuid, area_id uuid, starts_at timestamptz, ends_at timestamptz, reason text)
		on conflict on constraint area_closure_area_starts_key do update set ends_at = excluded.ends_at, reason = excluded.reason`, closures)
	if err != nil {
		return fmt.Errorf("put %d closures of areas: %w", len(closures), err)
	}
	return nil
}

const forecastColumns = `f.site_id, f.hour, f.temperature_tenths, f.unit, f.humidity, f.source`

// ListForecast returns the hours of a site's forecast that begin from one instant on and before another, by hour.
func ListForecast(ctx context.Context, db postgres.DB, site ids.SiteID, from, to time.Time) ([]ForecastHour, error) {
	return postgres.List[ForecastHour](ctx, db, "list a forecast", `
		select `+forecastColumns+` from facility.forecast f where f.site_id = $1 and f.hour >= $2 and f.hour < $3 order by f.hour`, site, from, to)
}

func listAllForecasts(ctx context.Context, db postgres.DB) ([]ForecastHour, error) {
	return postgres.List[ForecastHour](ctx, db, "list all forecasts", `
		select `+forecastColumns+` from facility.forecast f join facility.site s on s.id = f.site_id order by s.code, f.hour`)
}

// PutForecast writes hours of forecasts; what was said of the same hour before is replaced. No two of them may be of one site and hour.
func PutForecast(ctx context.Context, tx postgres.Tx, hours []ForecastHour) error {
	if len(hours) == 0 {
		return nil
	}
	_, err := tx.Exec(ctx, `
		insert into facility.forecast (site_id, hour, temperature_tenths, unit, humidity, source)
		select site_id, hour, temperature_tenths, unit, humidity, source
		from jsonb_to_recordset($1) as r(site_id uuid, hour timestamptz, temperature_tenths int, unit text, humidity int, source text)
		on conflict on constraint forecast_pkey do update set temperature_tenths = excluded.temperature_tenths, unit = excluded.unit,
		  humidity = excluded.humidity, source = excluded.source`, hours)
	if err != nil {
		return fmt.Errorf("put %d hours of a forecast: %w", len(hours), err)
	}
	return nil
}
