// Package episodes writes single events with their recordings as cases that a
// team can share: names of places are replaced, free text is left out. Such a
// case holds what was said and what somebody found, so that the analysis can be
// scored on it.
//
// It may import alert, analyze, collector/recording, config and a TOML library. It
// must never import the daemon or read a clock.
package episodes

import (
	"fmt"

	"dewgap/analyze"
	"dewgap/analyze/reading"
)

// siteName stands in place of the site's name.
const siteName = "site"

// names replaces the names of a site by neutral ones, the same for every episode.
type names struct {
	groups  map[string]string
	members map[string]map[string]string // by group
}

// newNames numbers groups, compressors and circuits in the order of the
// configuration. A neutral name that the site itself uses anywhere is passed over.
func newNames(site analyze.Site) *names {
	taken := map[string]bool{site.Name: true}
	for _, g := range site.Groups {
		taken[g.Name] = true
		for _, c := range g.Compressors {
			taken[c.Name] = true
		}
		for _, c := range g.Circuits {
			taken[c.Name] = true
		}
	}
	counter := func(what string) func() string {
		i := 0
		return func() string {
			for {
				i++
				if name := fmt.Sprintf("%s-%d", what, i); !taken[name] {
					return name
				}
			}
		}
	}
	n := &names{groups: map[string]string{}, members: map[string]map[string]string{}}
	group := counter("group")
	for _, g := range site.Groups {
		n.groups[g.Name] = group()
		members := map[string]string{}
		compressor, circuit := counter("compressor"), counter("circuit")
		for _, c := range g.Compressors {
			members[c.Name] = compressor()
		}
		for _, c := range g.Circuits {
			members[c.Name] = circuit()
		}
		n.members[g.Name] = members
	}
	return n
}

// group returns the neutral name of a group; empty for one that the site has not.
func (n *names) group(name string) string { return n.groups[name] }

// member returns the neutral name of a compressor or circuit; empty for one that
// the group has not.
func (n *names) member(group, name string) string { return n.members[group][name] }

// point returns p with neutral names.
func (n *names) point(p reading.Point) reading.Point {
	neutral := reading.Point{Group: n.group(p.Group), Member: n.member(p.Group, p.Member), Role: p.Role}
	neutral.Path = neutral.Group + "." + p.Role.String()
	if p.Member != "" {
		neutral.Path = neutral.Group + "." + neutral.Member + "." + p.Role.String()
	}
	return neutral
}

// path returns an input's path with neutral names; empty for one that is none.
func (n *names) path(path string) string {
	p, err := reading.ParsePath(path)
	if err != nil || n.group(p.Group) == "" || p.Member != "" && n.member(p.Group, p.Member) == "" {
		return ""
	}
	return n.point(p).Path
}
