package config

import (
	"errors"
	"fmt"
	"slices"

	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/analyze/suggest"
	"dewgap/analyze/superheat"
)

// ForRecording returns the site with the inputs of a recording, given by their
// paths, in place of the configured ones: what is configured and not recorded
// does not exist, and what is recorded and not configured exists with nothing
// stated about its sensor. The points stand in the order of the configuration,
// whatever the order of the columns, so that live and replay do the same. A
// path without a home is an error, all of them reported together.
func (c *Config) ForRecording(paths []string) (analyze.Site, error) {
	site := c.Site
	site.Points, site.Sensors = nil, nil
	stated := make(map[string]superheat.Sensor, len(c.Site.Points))
	configured := make(map[string]reading.Point, len(c.Site.Points))
	for i, p := range c.Site.Points {
		stated[p.Path], configured[p.Path] = c.Site.Sensors[i], p
	}
	homes := c.homes()
	known := make(map[string]bool, len(homes))
	for _, p := range homes {
		known[p.Path] = true
		if slices.Contains(paths, p.Path) {
			p.Unit, p.Source = configured[p.Path].Unit, configured[p.Path].Source
			site.Points = append(site.Points, p)
			site.Sensors = append(site.Sensors, stated[p.Path])
		}
	}
	var faults []error
	for _, path := range paths {
		if !known[path] {
			faults = append(faults, homeless(path, homes))
		}
	}
	return site, errors.Join(faults...)
}

// homes lists every input that the site could have, in the order of Points.
func (c *Config) homes() []reading.Point {
	var points []reading.Point
	add := func(home reading.Home, group, member string) {
		for _, role := range reading.Roles(home) {
			points = append(points, reading.Point{Path: pathOf(group, member, role), Group: group, Member: member, Role: role})
		}
	}
	for _, g := range c.Site.Groups {
		add(reading.AtGroup, g.Name, "")
		for _, m := range g.Compressors {
			add(reading.AtCompressor, g.Name, m.Name)
		}
		for _, m := range g.Circuits {
			add(reading.AtCircuit, g.Name, m.Name)
		}
	}
	return points
}

func homeless(path string, homes []reading.Point) error {
	if _, err := reading.ParsePath(path); err != nil {
		return fmt.Errorf("recording: %w", err)
	}
	all := make([]string, len(homes))
	for i, p := range homes {
		all[i] = p.Path
	}
	if near := suggest.Nearest(path, all); near != "" {
		return fmt.Errorf("recording: column %q has no home in the configuration; did you mean %q?", path, near)
	}
	return fmt.Errorf("recording: column %q has no home in the configuration; add its group, compressor or circuit there, or take the column out", path)
}
