package commissioning

import (
	"strings"
	"time"

	"dewgap/analyze/units"
)

// View is the units and the time zone in which a record is written for people.
// Its JSON has SI units and UTC always.
type View struct {
	System units.System
	// Pressure is the unit of the site's own transmitters; none shows what a gauge
	// of the system shows.
	Pressure units.Unit
	Zone     *time.Location // nil is UTC
}

func (v View) in(t time.Time) time.Time {
	if v.Zone == nil {
		return t.UTC()
	}
	return t.In(v.Zone)
}

// Clock writes the time of day: "15:04:05".
func (v View) Clock(t time.Time) string { return v.in(t).Format("15:04:05") }

// Minute writes the time of day for an axis: "15:04".
func (v View) Minute(t time.Time) string { return v.in(t).Format("15:04") }

// Day writes the date with the zone that its times are in: "2026-03-02, UTC".
func (v View) Day(t time.Time) string { return v.in(t).Format("2006-01-02, MST") }

// Stamp writes an instant whole: "2026-03-02 15:04:05 UTC".
func (v View) Stamp(t time.Time) string { return v.in(t).Format("2006-01-02 15:04:05 MST") }

// Difference writes a difference of temperatures in K, with a true minus sign.
func (v View) Difference(d float64) string { return minus(v.System.Difference(units.Kelvin(d))) }

// Temperature writes a temperature in °C, with a true minus sign.
func (v View) Temperature(t float64) string { return minus(v.System.Temperature(units.Celsius(t))) }

func minus(text string) string {
	if number, negative := strings.CutPrefix(text, "-"); negative {
		return "−" + number
	}
	return text
}
