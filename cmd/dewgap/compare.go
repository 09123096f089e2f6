package main

import (
	"fmt"
	"math"
	"os/user"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/firstlook"
	"dewgap/config"
)

// comparisons holds each gauge value of --compare against what is read now.
func (l *liveCheck) comparisons(report *firstlook.Report) ([]comparison, error) {
	var all []comparison
	for i := range report.Points {
		p := &report.Points[i]
		gauge, asked := l.compare[p.Path]
		if !asked {
			continue
		}
		if p.Value == nil {
			return nil, fmt.Errorf("--compare %s: it reads nothing now (%s)", p.Path, p.Why)
		}
		kind := l.config.Site.Points[i].Role.Kind()
		shown, err := config.SIOf(kind, gauge, l.air(i))
		if err != nil {
			return nil, usageError{fmt.Errorf("--compare %s: %w", p.Path, err)}
		}
		v := config.Verification{On: l.clock.Now(), By: l.by, Gauge: gauge, Read: readingText(l.config, i, *p.Value)}
		c := comparison{Input: p.Path, Gauge: gauge, Read: v.Read, Line: l.config.Inputs[i].Line, file: l.config.File}
		c.Key, c.Paste = firstlook.Comparison(l.config, i, v)
		allowed := config.AllowedError(kind, l.config.Site.Sensors[i])
		if off := math.Abs(*p.Value - shown); off > allowed {
			c.Remarks = append(c.Remarks, fmt.Sprintf("They differ by %s, more than the accuracy of %s explains: find out why before you rely on either.", differenceOf(l.config, kind, off), differenceOf(l.config, kind, allowed)))
		}
		if moved := l.look.Moved(i); moved > allowed {
			c.Remarks = append(c.Remarks, fmt.Sprintf("The reading moved by %s meanwhile: compare again while it is steady.", differenceOf(l.config, kind, moved)))
		}
		all = append(all, c)
	}
	return all, nil
}

// air is the pressure that a gauge value of an input is above.
func (l *liveCheck) air(point int) units.Pascal {
	if l.config.Site.Sensors[point].Sealed {
		return units.StandardAtmosphere
	}
	return l.config.Site.Atmosphere
}

// readingText writes a reading as the file states quantities.
func readingText(c *config.Config, point int, v float64) string {
	if c.Site.Points[point].Role.Kind() == reading.Pressure {
		return firstlook.Value(c, point, v)
	}
	u := c.Units.TemperatureUnit()
	return fmt.Sprintf("%.1f %s", u.Number(v), u.Name)
}

func differenceOf(c *config.Config, kind reading.Kind, x float64) string {
	if kind == reading.Pressure {
		return c.Units.PressureDifference(units.Pascal(x))
	}
	return c.Units.Difference(units.Kelvin(x))
}

// userName returns who is at the keyboard; empty where that is not known.
func userName() string {
	u, err := user.Current()
	if err != nil {
		return ""
	}
	return u.Username
}
