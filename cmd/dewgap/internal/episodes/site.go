package episodes

import (
	"bytes"
	"fmt"
	"time"

	"github.com/BurntSushi/toml"

	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/config"
)

// siteKeys are the keys of [site] that an episode keeps: what analysis needs.
var siteKeys = []string{"altitude", "atmosphere", "units"}

// bus is the source that the inputs of an episode's site are said to come from:
// a recording needs none, and the configuration asks for one.
const bus = "recording"

// siteText returns the configuration of one group with neutral names and nothing
// else: its settings, machines and circuits, and what is stated of its sensors.
// text is the configuration that cfg was read from.
func siteText(text []byte, cfg *config.Config, group string, n *names) ([]byte, error) {
	var all map[string]any
	if err := toml.Unmarshal(text, &all); err != nil {
		return nil, fmt.Errorf("%s: %w", cfg.File, err)
	}
	site := map[string]any{"name": siteName}
	if given, ok := all["site"].(map[string]any); ok {
		for _, key := range siteKeys {
			if v, ok := given[key]; ok {
				site[key] = v
			}
		}
	}
	g, err := groupOf(cfg.Site, group)
	if err != nil {
		return nil, err
	}
	if known, _ := refrigerant.Lookup(g.Refrigerant.Name); known == nil {
		return nil, fmt.Errorf("group %s uses a refrigerant of the site's own table, which an episode does not hold", group)
	}
	out := map[string]any{}
	for _, t := range tables(all["suction_group"]) {
		if t["name"] == group {
			out = settingsOf(t)
		}
	}
	out["name"] = n.group(group)
	sensors := map[string]map[string]any{} // inputs by member; the group's own under ""
	for i, p := range cfg.Site.Points {
		if p.Group != group || cfg.Site.Sensors[i] == (superheat.Sensor{}) {
			continue
		}
		if sensors[p.Member] == nil {
			sensors[p.Member] = map[string]any{}
		}
		sensors[p.Member][p.Role.String()] = inputOf(p.Role.Kind(), cfg.Site.Sensors[i], i)
	}
	for role, input := range sensors[""] {
		out[role] = input
	}
	var compressors, circuits []map[string]any
	for _, c := range g.Compressors {
		compressors = append(compressors, member(n.member(group, c.Name), "kind", kindWord(all, group, "compressor", c.Name, "kind"), sensors[c.Name]))
	}
	for _, c := range g.Circuits {
		circuits = append(circuits, member(n.member(group, c.Name), "defrost_kind", kindWord(all, group, "circuit", c.Name, "defrost_kind"), sensors[c.Name]))
	}
	out["compressor"] = compressors
	if circuits != nil {
		out["circuit"] = circuits
	}
	file := map[string]any{"site": site, "suction_group": []map[string]any{out}}
	if len(sensors) > 0 {
		file["modbus"] = []map[string]any{{"name": bus, "address": "192.0.2.1:502"}}
	}
	var b bytes.Buffer
	if err := toml.NewEncoder(&b).Encode(file); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func groupOf(site analyze.Site, name string) (*analyze.Group, error) {
	for i := range site.Groups {
		if site.Groups[i].Name == name {
			return &site.Groups[i], nil
		}
	}
	return nil, fmt.Errorf("the configuration has no group %s", name)
}

func tables(v any) []map[string]any {
	list, _ := v.([]map[string]any)
	return list
}

// settingsOf returns the keys of a group but its names, members and inputs: all of
// them are quantities, numbers and words of the configuration.
func settingsOf(group map[string]any) map[string]any {
	out := map[string]any{}
	for key, v := range group {
		if _, input := reading.ParseRole(key); !input && key != "name" && key != "compressor" && key != "circuit" {
			out[key] = v
		}
	}
	return out
}

// kindWord returns the word that a member's table has under key; nil for none.
func kindWord(all map[string]any, group, what, name, key string) any {
	for _, g := range tables(all["suction_group"]) {
		if g["name"] != group {
			continue
		}
		for _, m := range tables(g[what]) {
			if m["name"] == name {
				return m[key]
			}
		}
	}
	return nil
}

func member(name, key string, word any, inputs map[string]any) map[string]any {
	m := map[string]any{"name": name}
	if word != nil {
		m[key] = word
	}
	for role, input := range inputs {
		m[role] = input
	}
	return m
}

// inputOf states a sensor as a configuration does. Its address is of no device.
func inputOf(kind reading.Kind, s superheat.Sensor, index int) map[string]any {
	in := map[string]any{"modbus": bus, "unit_id": 1, "input": index, "type": "int16"}
	switch kind {
	case reading.Pressure:
		in["unit"] = "bara"
		if s.Gauge {
			in["unit"] = "barg"
		}
		if s.Limit > 0 {
			in["accuracy"] = fmt.Sprintf("%g Pa", s.Limit)
		}
		if s.Sealed {
			in["sealed"] = true
		}
	case reading.Temperature:
		in["unit"] = "degC"
		if s.Limit > 0 {
			in["accuracy"] = fmt.Sprintf("%g K", s.Limit)
		}
		if s.Lag > 0 {
			in["lag"] = fmt.Sprintf("%g s", s.Lag.Round(time.Millisecond).Seconds())
		}
		if s.Mounting > 0 {
			in["mounting"] = fmt.Sprintf("%g K", float64(s.Mounting))
		}
	}
	return in
}
