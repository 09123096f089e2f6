package watch

import (
	"fmt"
	"slices"
	"strings"

	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
)

// Columns builds the site that a recording describes: the configured groups,
// with the recording's columns as inputs. What is configured of a sensor goes
// with its path; an input that the recording lacks does not exist.
type Columns struct {
	site    analyze.Site
	sensors map[string]superheat.Sensor
	index   map[string]int
}

// NewColumns begins with the groups of the configured site and no inputs.
func NewColumns(configured analyze.Site) *Columns {
	c := &Columns{site: configured, sensors: map[string]superheat.Sensor{}, index: map[string]int{}}
	for i, p := range configured.Points {
		if i < len(configured.Sensors) {
			c.sensors[p.Path] = configured.Sensors[i]
		}
	}
	c.site.Points, c.site.Sensors = nil, nil
	return c
}

// Index returns the index of the input with that path, which must have a home
// in the configuration; the error says what would be right.
func (c *Columns) Index(path string) (int, error) {
	if i, ok := c.index[path]; ok {
		return i, nil
	}
	point, err := reading.ParsePath(path)
	if err != nil {
		return 0, err
	}
	if err := c.home(&point); err != nil {
		return 0, err
	}
	i := len(c.site.Points)
	c.index[path] = i
	c.site.Points = append(c.site.Points, point)
	c.site.Sensors = append(c.site.Sensors, c.sensors[path])
	return i, nil
}

// Site returns the site with the inputs asked for so far.
func (c *Columns) Site() analyze.Site { return c.site }

// home checks that the point's group and member are configured and that its
// role fits the member.
func (c *Columns) home(p *reading.Point) error {
	g := slices.IndexFunc(c.site.Groups, func(g analyze.Group) bool { return g.Name == p.Group })
	if g < 0 {
		return fmt.Errorf("no suction group %q is configured; there is %s", p.Group, groupNames(c.site.Groups))
	}
	if p.Member == "" {
		return nil
	}
	group := &c.site.Groups[g]
	home := reading.Home(0)
	switch {
	case slices.ContainsFunc(group.Compressors, func(x analyze.Compressor) bool { return x.Name == p.Member }):
		home = reading.AtCompressor
	case slices.ContainsFunc(group.Circuits, func(x analyze.Circuit) bool { return x.Name == p.Member }):
		home = reading.AtCircuit
	default:
		return fmt.Errorf("group %q has no compressor or circuit %q configured; it has %s", p.Group, p.Member, memberNames(group))
	}
	if p.Role.Home()&home == 0 {
		kind := map[reading.Home]string{reading.AtCompressor: "compressor", reading.AtCircuit: "circuit"}[home]
		return fmt.Errorf("%s is a %s, and a %s has no %s", p.Member, kind, kind, p.Role)
	}
	return nil
}

func groupNames(groups []analyze.Group) string {
	var names []string
	for _, g := range groups {
		names = append(names, g.Name)
	}
	return strings.Join(names, ", ")
}

func memberNames(g *analyze.Group) string {
	var names []string
	for _, c := range g.Compressors {
		names = append(names, c.Name)
	}
	for _, c := range g.Circuits {
		names = append(names, c.Name)
	}
	return strings.Join(names, ", ")
}
