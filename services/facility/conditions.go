package facility

import (
	"fmt"
	"strings"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/workload"
)

// AreaClosure takes a training area out of use from one instant to another, half-open. Area and start are its key: another end for the same
// start replaces it.
type AreaClosure struct {
	ID     ids.ClosureID `db:"id" json:"id"`
	AreaID ids.AreaID    `db:"area_id" json:"area_id"`
	From   time.Time     `db:"starts_at" json:"starts_at"`
	To     time.Time     `db:"ends_at" json:"ends_at"`
	Reason string        `db:"reason" json:"reason"`
}

// ForecastHour is the weather that somebody expects at a site in the hour from an instant on. It is what a person entered: no weather
// service is asked. A later word on the same hour replaces it.
type ForecastHour struct {
	SiteID ids.SiteID `db:"site_id" json:"site_id"`
	// Hour is when it begins: a full hour by the site's clocks.
	Hour time.Time `db:"hour" json:"hour"`
	// TemperatureTenths is in tenths of a degree of Unit, which is UnitF or UnitC.
	TemperatureTenths int    `db:"temperature_tenths" json:"temperature_tenths"`
	Unit              string `db:"unit" json:"unit"`
	// Humidity is the relative humidity in percent.
	Humidity int `db:"humidity" json:"humidity"`
	// Source says where the figures are from.
	Source string `db:"source" json:"source"`
}

// Units of temperature.
const (
	UnitF = "F"
	UnitC = "C"
)

// TemperatureF returns the temperature in degrees Fahrenheit.
func (h ForecastHour) TemperatureF() float64 {
	t := float64(h.TemperatureTenths) / 10
	if h.Unit == UnitC {
		return workload.Fahrenheit(t)
	}
	return t
}

// Temperatures that no site has, in tenths. They keep degrees Fahrenheit from passing for Celsius.
const (
	coldestF, hottestF = -800, 1400
	coldestC, hottestC = -600, 600
)

// Fault is what is wrong with one field of a record that a person enters.
type Fault struct{ Field, Rule, Remedy string }

// Error says it in one line.
func (f *Fault) Error() string { return fmt.Sprintf("%s %s: %s", f.Field, f.Rule, f.Remedy) }

// Check finds what cannot be in an hour of a forecast at a site in a zone; nil when nothing is.
func (h ForecastHour) Check(zone *time.Location) *Fault {
	low, high := coldestF, hottestF
	if h.Unit == UnitC {
		low, high = coldestC, hottestC
	}
	switch {
	case calendar.ClockIn(h.Hour, zone).Minute() != 0 || h.Hour.Second() != 0 || h.Hour.Nanosecond() != 0:
		return &Fault{"hour", "is not a full hour at the site", "write the hour in which it begins, such as 2027-07-14 14:00"}
	case h.Unit != UnitF && h.Unit != UnitC:
		return &Fault{"unit", "is not known", "write F or C"}
	case h.TemperatureTenths < low || h.TemperatureTenths > high:
		return &Fault{"temperature", fmt.Sprintf("is not between %d and %d %s", low/10, high/10, h.Unit), "check the number and its unit"}
	case h.Humidity < 0 || h.Humidity > 100:
		return &Fault{"humidity", "is not between 0 and 100 percent", "write the relative humidity in percent"}
	case strings.TrimSpace(h.Source) == "":
		return &Fault{"source", "is missing", "say where the figures are from"}
	}
	return nil
}

// Moment reads an instant as people write it: 2027-07-14 14:00 (or with a T) by the clocks of the zone, 2027-07-14 for the beginning of the
// day, or RFC 3339 with an offset. A time that clocks skip is a fault; one that comes twice is the first, and the offset says the other.
func Moment(field, text string, zone *time.Location) (time.Time, *Fault) {
	const remedy = "write it as 2027-07-14 14:00, or with the offset as 2027-07-14T14:00:00-06:00"
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at.UTC(), nil
	}
	if day, err := calendar.ParseDate(text); err == nil {
		start, _, err := calendar.DayBounds(day, zone)
		if err != nil {
			return start, &Fault{field, err.Error(), remedy}
		}
		return start, nil
	}
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02T15:04:05"} {
		local, err := time.Parse(layout, text)
		if err != nil || local.Second() != 0 {
			continue
		}
		day, err := calendar.ParseDate(local.Format(time.DateOnly))
		if err != nil {
			return local, &Fault{field, err.Error(), remedy}
		}
		clock, err := calendar.NewClock(local.Hour(), local.Minute())
		if err == nil {
			local, err = calendar.At(day, clock, zone)
		}
		if err != nil {
			return local, &Fault{field, err.Error(), "write a time that clocks show there"}
		}
		return local, nil
	}
	return time.Time{}, &Fault{field, "is no day with a time", remedy}
}

// momentText writes an instant as Moment reads it in any zone: local, with the offset.
func momentText(at time.Time, zone *time.Location) string { return at.In(zone).Format(time.RFC3339) }
