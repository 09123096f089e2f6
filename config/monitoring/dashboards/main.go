// Command dashboards writes the Grafana dashboards of config/monitoring/grafana.
// Grafana itself is only needed by those who show them.
package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

//go:generate go run . ../grafana

// panel is one picture and the queries that it shows.
type panel struct {
	title, about string
	kind         string // Grafana's name of the kind of picture
	unit         string // Grafana's name of the unit
	every        string // least step of time; "" leaves it to Grafana
	width        int    // of 24
	queries      []query
}

// query is one PromQL expression and the name of each series that it gives.
type query struct{ expr, legend string }

// dashboard is one page. Its variables are labels; each is chosen among those
// that the ones before it leave.
type dashboard struct {
	name, title string
	variables   []string
	panels      []panel
}

const (
	machine = `{site=~"$site", group=~"$group", compressor=~"$compressor"}`
	circuit = `{site=~"$site", group=~"$group"}`
	height  = 8 // of each row of panels, in Grafana's units
)

// floodbackSeconds is the exposure of a time, without what a doubt of its inputs
// proved false.
func floodbackSeconds(selector, span string) string {
	return fmt.Sprintf("(increase(dewgap_floodback_seconds_total%s[%s]) - increase(dewgap_floodback_withdrawn_seconds_total%s[%s]))", selector, span, selector, span)
}

// dashboards are all of them, for sites, then for one site, then for one machine.
func dashboards() []dashboard {
	site := `{site=~"$site"}`
	place := "{{site}} {{group}} {{compressor}}"
	return []dashboard{
		{"fleet", "dewgap: fleet", []string{"site"}, []panel{
			{"Nearest to the floor", "Superheat minus the floor that holds now. Below zero the gas may be wet.", "bargauge", "kelvin", "", 12,
				[]query{{`bottomk(20, dewgap_superheat_margin_kelvin` + site + `)`, place}}},
			{"Floodback a day", "Time below the floor within floodback events, of the day before each point. What a doubt of its inputs proved false is taken out. Counters survive a restart.", "timeseries", "s", "1d", 12,
				[]query{{`topk(20, sum by (site) ` + floodbackSeconds(site, "1d") + `)`, "{{site}}"}}},
			{"Causes of a week", "Closed floodbacks by likely circuit and cause.", "bargauge", "short", "", 12,
				[]query{{`topk(20, sum by (site, group, circuit, cause) (increase(dewgap_event_causes_total` + site + `[7d])))`, "{{site}} {{group}} {{circuit}} {{cause}}"}}},
			{"Open events", "Compressors with an open event, by its kind.", "timeseries", "short", "", 12,
				[]query{{`sum by (kind) (dewgap_event_severity` + site + ` > bool 0)`, "{{kind}}"}}},
			{"Sensors in doubt", "Inputs that are stale, suspect, bad or missing.", "bargauge", "short", "", 8,
				[]query{{`topk(20, sum by (site, quality) (dewgap_inputs{site=~"$site", quality!="good"}))`, "{{site}} {{quality}}"}}},
			{"Time in pulldown", "Share of the running time of a day.", "bargauge", "percentunit", "", 8,
				[]query{{`topk(20, increase(dewgap_phase_seconds_total{site=~"$site", phase="pulldown"}[1d]) / on (site, group, compressor) (increase(dewgap_compressor_running_seconds_total` + site + `[1d]) > 0))`, place}}},
			{"Gateways: age of the newest row", "A gateway that is gone for good has no row here; its alert is GatewayVanished.", "bargauge", "s", "", 8,
				[]query{{`topk(20, time() - max by (site) (last_over_time(dewgap_row_timestamp_seconds` + site + `[1d])))`, "{{site}}"}}},
			{"Gateways: faults of their own", "", "timeseries", "short", "", 12,
				[]query{{`sum by (site) (dewgap_fault_active` + site + `)`, "{{site}}"}}},
			{"Versions", "", "bargauge", "short", "", 12,
				[]query{{`count by (version) (dewgap_build_info` + site + `)`, "{{version}}"}}},
		}},
		{"site", "dewgap: site", []string{"site", "group"}, []panel{
			{"Margin over the floor", "Superheat minus the floor that holds now.", "timeseries", "kelvin", "", 24,
				[]query{{`dewgap_superheat_margin_kelvin` + circuit, "{{group}} {{compressor}}"}}},
			{"Stages of the circuits", "", "state-timeline", "short", "", 24,
				[]query{{`dewgap_circuit_stage` + circuit + ` == 1`, "{{group}} {{circuit}}: {{stage}}"}}},
			{"Temperature of the cooled air", "", "timeseries", "celsius", "", 12,
				[]query{{`dewgap_air_celsius` + circuit, "{{group}} {{circuit}}"}}},
			{"Defrosts of a day", "", "bargauge", "short", "", 12,
				[]query{{`increase(dewgap_defrosts_total` + circuit + `[1d])`, "{{group}} {{circuit}}"}}},
			{"Inputs by quality", "", "timeseries", "short", "", 12,
				[]query{{`sum by (quality) (dewgap_inputs` + circuit + `)`, "{{quality}}"}}},
			{"Sources", "1 while the bus or broker answers.", "state-timeline", "short", "", 12,
				[]query{{`dewgap_source_up` + site, "{{source}}"}}},
		}},
		{"compressor", "dewgap: compressor", []string{"site", "group", "compressor"}, []panel{
			{"Superheat and floor", "The uncertainty is expanded, k=2.", "timeseries", "kelvin", "", 24,
				[]query{{`dewgap_superheat_kelvin` + machine, "superheat {{compressor}}"},
					{`dewgap_superheat_floor_kelvin` + machine, "floor {{compressor}}"},
					{`dewgap_superheat_kelvin` + machine + ` - dewgap_superheat_uncertainty_kelvin` + machine, "superheat less its uncertainty {{compressor}}"}}},
			{"Phase", "", "state-timeline", "short", "", 24,
				[]query{{`dewgap_phase` + machine + ` == 1`, "{{compressor}}: {{phase}}"}}},
			{"Suction line and dew", "", "timeseries", "celsius", "", 12,
				[]query{{`dewgap_suction_temperature_celsius` + machine, "line {{compressor}}"}, {`dewgap_suction_dew_celsius` + machine, "dew {{compressor}}"}}},
			{"Discharge", "", "timeseries", "celsius", "", 12,
				[]query{{`dewgap_discharge_temperature_celsius` + machine, "discharge {{compressor}}"}}},
			{"Floodback of a day", "Without what a doubt of its inputs proved false.", "bargauge", "s", "", 8,
				[]query{{floodbackSeconds(machine, "1d"), place}}},
			{"Starts of a day", "", "bargauge", "short", "", 8,
				[]query{{`increase(dewgap_compressor_starts_total` + machine + `[1d])`, place}}},
			{"Time in each phase of a day", "", "bargauge", "s", "", 8,
				[]query{{`sum by (phase) (increase(dewgap_phase_seconds_total` + machine + `[1d]))`, "{{phase}}"}}},
		}},
		{"commissioning", "dewgap: commissioning", []string{"site", "group", "compressor"}, []panel{
			{"Lowest superheat of the last pulldown", "Compare with the floor of the pulldown. The record to sign is made by dewgap report.", "bargauge", "kelvin", "", 12,
				[]query{{`dewgap_superheat_lowest_kelvin` + machine, place}}},
			{"Uncertainty of the superheat", "Expanded, k=2.", "bargauge", "kelvin", "", 12,
				[]query{{`dewgap_superheat_uncertainty_kelvin` + machine, place}}},
			{"Superheat over the defrosts", "", "timeseries", "kelvin", "", 24,
				[]query{{`dewgap_superheat_kelvin` + machine, "superheat {{compressor}}"}, {`dewgap_superheat_floor_kelvin` + machine, "floor {{compressor}}"}}},
			{"Stages of the circuits", "", "state-timeline", "short", "", 24,
				[]query{{`dewgap_circuit_stage` + circuit + ` == 1`, "{{group}} {{circuit}}: {{stage}}"}}},
			{"Floodbacks by severity reached", "Within the time shown.", "bargauge", "short", "", 12,
				[]query{{`sum by (group, compressor, severity) (increase(dewgap_events_reached_total{kind="floodback", site=~"$site", group=~"$group", compressor=~"$compressor"}[$__range]))`, "{{group}} {{compressor}} {{severity}}"}}},
			{"Age of each input", "", "bargauge", "s", "", 12,
				[]query{{`topk(20, dewgap_input_age_seconds` + circuit + `)`, "{{group}} {{compressor}}{{circuit}} {{input}}"}}},
		}},
	}
}

type object = map[string]any

// encode returns the dashboard in Grafana's form.
func (d dashboard) encode() ([]byte, error) {
	source := object{"type": "prometheus", "uid": "${datasource}"}
	variables := []any{object{"name": "datasource", "label": "Prometheus", "type": "datasource", "query": "prometheus"}}
	var narrower []string
	for _, label := range d.variables {
		selector := ""
		if len(narrower) > 0 {
			selector = "{" + strings.Join(narrower, ", ") + "}"
		}
		metric := map[string]string{"site": "dewgap_build_info", "group": "dewgap_inputs", "compressor": "dewgap_superheat_floor_kelvin"}[label]
		variables = append(variables, object{"name": label, "label": label, "type": "query", "datasource": source, "refresh": 2, "sort": 1,
			"multi": true, "includeAll": true, "allValue": ".*", "current": object{"text": "All", "value": "$__all"},
			"query": object{"query": "label_values(" + metric + selector + ", " + label + ")", "refId": label}})
		narrower = append(narrower, label+`=~"$`+label+`"`)
	}
	var panels []any
	x, y := 0, 0
	for i, p := range d.panels {
		if x+p.width > 24 {
			x, y = 0, y+height
		}
		var targets []any
		for n, q := range p.queries {
			targets = append(targets, object{"refId": string(rune('A' + n)), "expr": q.expr, "legendFormat": q.legend, "datasource": source,
				"instant": p.kind == "bargauge", "range": p.kind != "bargauge"})
		}
		one := object{"id": i + 1, "title": p.title, "description": p.about, "type": p.kind, "datasource": source,
			"gridPos": object{"x": x, "y": y, "w": p.width, "h": height}, "targets": targets,
			"fieldConfig": object{"defaults": object{"unit": p.unit}, "overrides": []any{}}}
		if p.kind == "bargauge" {
			one["options"] = object{"orientation": "horizontal", "displayMode": "basic", "reduceOptions": object{"calcs": []string{"lastNotNull"}}}
		}
		if p.every != "" {
			one["interval"] = p.every
		}
		panels = append(panels, one)
		x += p.width
	}
	text, err := json.MarshalIndent(object{"uid": "dewgap-" + d.name, "title": d.title, "tags": []string{"dewgap"}, "schemaVersion": 39, "editable": true,
		"time": object{"from": "now-24h", "to": "now"}, "refresh": "1m", "panels": panels, "templating": object{"list": variables},
		"links": []any{object{"type": "dashboards", "tags": []string{"dewgap"}, "title": "dewgap", "asDropdown": true, "keepTime": true, "includeVars": true}}}, "", "  ")
	return append(text, '\n'), err
}

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: dashboards DIRECTORY")
		os.Exit(2)
	}
	for _, d := range dashboards() {
		text, err := d.encode()
		if err == nil {
			err = os.WriteFile(filepath.Join(os.Args[1], d.name+".json"), text, 0o644)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, "dashboards:", err)
			os.Exit(1)
		}
	}
}
