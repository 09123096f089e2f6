package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"text/tabwriter"

	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

type refrigerantsCmd struct {
	JSON bool `help:"Print one JSON array."`
}

// glideAt is where the glide is stated.
const glideAt units.Celsius = -10

// listed is a refrigerant as the list shows it.
type listed struct {
	Refrigerant string   `json:"refrigerant"`
	CommonName  string   `json:"common_name,omitempty"`
	Kind        string   `json:"kind"`
	GlideK      *float64 `json:"glide_k"` // at a dew temperature of -10 °C; null outside the table
	Safety      string   `json:"safety_class"`
	DewAccuracy float64  `json:"dew_uncertainty_k"` // expanded, k = 2
	LowestDew   float64  `json:"lowest_c"`
	HighestDew  float64  `json:"highest_c"`
	Source      string   `json:"source"`
	Remark      string   `json:"remark,omitempty"`
}

func (v refrigerantsCmd) Run(con console) error {
	var all []listed
	for _, f := range refrigerant.All() {
		low, high := f.Range()
		l := listed{f.Name, f.CommonName, string(f.Kind), nil, f.Safety, float64(f.Uncertainty()), float64(low), float64(high), f.Source, f.Remark}
		if p, err := f.DewPressure(glideAt); err == nil {
			if glide, err := f.Glide(p); err == nil {
				k := max(0, float64(glide)) // no "-0.0" from the rounding of the tables
				l.GlideK = &k
			}
		}
		all = append(all, l)
	}
	if v.JSON {
		return json.NewEncoder(con.Out).Encode(all)
	}
	w := tabwriter.NewWriter(con.Out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "refrigerant\tkind\tglide at -10 °C\tsafety class\taccuracy of dew (k=2)\tdata")
	for _, l := range all {
		name, glide := l.Refrigerant, "outside the table"
		if l.CommonName != "" {
			name += " (" + l.CommonName + ")"
		}
		if l.GlideK != nil {
			glide = units.SI.Difference(units.Kelvin(*l.GlideK))
		}
		source, _, _ := strings.Cut(l.Source, ", doi ")
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t±%.2f K\t%s\n", name, l.Kind, glide, l.Safety, l.DewAccuracy, source)
	}
	return w.Flush()
}
