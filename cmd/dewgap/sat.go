package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

type satCmd struct {
	Refrigerant string   `arg:"" help:"Refrigerant in any usual spelling: R448A, propane, CO2."`
	Values      []string `arg:"" name:"value" help:"A pressure (\"1.8 barg\", \"26 psig\") or a temperature (\"-6 C\", \"22 F\"); with --superheat both."`
	Superheat   bool     `help:"Superheat of a pressure and a suction line temperature."`
	Altitude    string   `help:"Altitude of the place: the air that a gauge pressure is added to." default:"0 m"`
	JSON        bool     `help:"Print one JSON object in SI units."`

	PressureAccuracy    string `help:"Limits of error of the pressure, such as \"0.13 bar\"."`
	TemperatureAccuracy string `help:"Limits of error of the thermometer, such as \"0.5 K\"."`
	Mounting            string `help:"Limits of the contact error of a clamp-on sensor, such as \"1.5 K\"."`
}

// hyphensToMinus makes a negative value possible where an option could stand: the hyphen
// before a digit becomes the minus sign, which units also read. No option
// starts with a digit.
func hyphensToMinus(args []string) []string {
	out := make([]string, len(args))
	for i, arg := range args {
		out[i] = arg
		if len(arg) > 1 && arg[0] == '-' && strings.ContainsRune("0123456789.", rune(arg[1])) {
			out[i] = "−" + arg[1:]
		}
	}
	return out
}

func (v satCmd) Run(con console) error {
	fluid, err := refrigerant.Lookup(v.Refrigerant)
	if err != nil {
		return usageError{err}
	}
	altitude, err := units.ParseLength(v.Altitude)
	if err != nil {
		return usageError{fmt.Errorf("--altitude: %w", err)}
	}
	air, err := units.Atmosphere(altitude)
	if err != nil {
		return usageError{fmt.Errorf("--altitude: %w", err)}
	}
	if v.Superheat {
		return v.superheat(con, fluid, air)
	}
	if v.PressureAccuracy != "" || v.TemperatureAccuracy != "" || v.Mounting != "" {
		return usageError{errors.New("accuracies belong to --superheat")}
	}
	if len(v.Values) != 1 {
		return usageError{fmt.Errorf("%d values; want one pressure or temperature (did a quoted value fall apart? or --superheat with two)", len(v.Values))}
	}
	number, unit, err := units.Parse(v.Values[0])
	switch {
	case err != nil:
		return usageError{err}
	case unit.IsPressure():
		return v.ofPressure(con, fluid, units.Pascal(unit.ToSI(number, air)), air)
	case unit.Quantity == units.Temperature:
		return v.ofTemperature(con, fluid, units.Celsius(unit.SI(number)), air)
	}
	return usageError{fmt.Errorf("%q: want a pressure such as \"1.8 barg\" or a temperature such as \"-6 C\"", v.Values[0])}
}

// useOf names the use of each line, dew or bubble; mixing them up hides floodback.
const useOf = "Use dew for superheat, bubble for subcooling."

func (v satCmd) ofPressure(con console, f *refrigerant.Fluid, p, air units.Pascal) error {
	dew, err := f.Dew(p)
	if err != nil {
		return err
	}
	bubble, err := f.Bubble(p)
	known := err == nil // it may lie just outside the table; NaN then
	if v.JSON {
		out := struct {
			Refrigerant string   `json:"refrigerant"`
			Pressure    float64  `json:"pressure_pa"`
			Dew         float64  `json:"dew_c"`
			Bubble      *float64 `json:"bubble_c"`
			Source      string   `json:"source"`
		}{f.Name, float64(p), float64(dew), nil, f.Source}
		if known {
			b := float64(bubble)
			out.Bubble = &b
		}
		return json.NewEncoder(con.Out).Encode(out)
	}
	fmt.Fprintf(con.Out, "%s at %s\n", f.Name, bothPressures(p, air))
	fmt.Fprintf(con.Out, "dew     %s  (±%.2f K, k=2)\nbubble  %s\n", bothTemperatures(dew), float64(f.Uncertainty()), bothTemperatures(bubble))
	fmt.Fprintf(con.Out, "%s\nsource: %s\n", useOf, f.Source)
	return nil
}

func (v satCmd) ofTemperature(con console, f *refrigerant.Fluid, t units.Celsius, air units.Pascal) error {
	dew, err := f.DewPressure(t)
	if err != nil {
		return err
	}
	bubble, err := f.BubblePressure(t)
	if err != nil {
		return err
	}
	if v.JSON {
		return json.NewEncoder(con.Out).Encode(struct {
			Refrigerant string  `json:"refrigerant"`
			Temperature float64 `json:"temperature_c"`
			Dew         float64 `json:"dew_pressure_pa"`
			Bubble      float64 `json:"bubble_pressure_pa"`
			Source      string  `json:"source"`
		}{f.Name, float64(t), float64(dew), float64(bubble), f.Source})
	}
	fmt.Fprintf(con.Out, "%s at %s\n", f.Name, bothTemperatures(t))
	fmt.Fprintf(con.Out, "dew     %s\nbubble  %s\n", bothPressures(dew, air), bothPressures(bubble, air))
	fmt.Fprintf(con.Out, "%s\nsource: %s\n", useOf, f.Source)
	return nil
}

func bothPressures(p, air units.Pascal) string {
	return fmt.Sprintf("%s = %s = %s = %s", units.SI.GaugePressure(p, air), units.SI.AbsolutePressure(p),
		units.US.GaugePressure(p, air), units.US.AbsolutePressure(p))
}

func bothTemperatures(t units.Celsius) string {
	return units.SI.Temperature(t) + " = " + units.US.Temperature(t)
}

func bothDifferences(d units.Kelvin) string {
	return units.SI.Difference(d) + " = " + units.US.Difference(d)
}

func (v satCmd) superheat(con console, f *refrigerant.Fluid, air units.Pascal) error {
	if len(v.Values) != 2 {
		return usageError{fmt.Errorf("%d values; --superheat wants a pressure and a temperature, such as \"1.8 barg\" \"-6 C\"", len(v.Values))}
	}
	pressure, err := units.ParsePressure(v.Values[0])
	if err != nil {
		return usageError{err}
	}
	t, err := units.ParseTemperature(v.Values[1])
	if err != nil {
		return usageError{err}
	}
	p := pressure.Absolute(air)
	dew, err := f.Dew(p)
	if err != nil {
		return err
	}
	expanded, limits, err := v.uncertainty(f, p)
	if err != nil {
		return usageError{err}
	}
	overDew := t.Above(dew)
	if v.JSON {
		return json.NewEncoder(con.Out).Encode(struct {
			Refrigerant string   `json:"refrigerant"`
			Pressure    float64  `json:"pressure_pa"`
			Temperature float64  `json:"temperature_c"`
			Dew         float64  `json:"dew_c"`
			Superheat   float64  `json:"superheat_k"`
			Uncertainty *float64 `json:"expanded_uncertainty_k"` // null when no accuracy is given
			Source      string   `json:"source"`
		}{f.Name, float64(p), float64(t), float64(dew), float64(overDew), (*float64)(expanded), f.Source})
	}
	fmt.Fprintf(con.Out, "%s at %s\ndew        %s\nline       %s\nsuperheat  %s\n", f.Name, bothPressures(p, air),
		bothTemperatures(dew), bothTemperatures(t), bothDifferences(overDew))
	if expanded == nil {
		fmt.Fprintln(con.Out, "Uncertainty not known: give --pressure-accuracy, --temperature-accuracy, --mounting.")
	} else {
		fmt.Fprintf(con.Out, "±          %s  (k=2), of which\n", bothDifferences(*expanded))
		for _, l := range limits {
			fmt.Fprintf(con.Out, "  %-12s ±%s  %s\n", l.what, bothDifferences(units.Kelvin(superheat.Coverage*l.standard)), l.text)
		}
	}
	fmt.Fprintf(con.Out, "source: %s\n", f.Source)
	return nil
}

// limit is one limit of error that was given, and what it does to superheat.
type limit struct {
	what, text string
	standard   float64 // K
}

// uncertainty combines the limits given, taken as rectangular, with that of
// the dew line (JCGM 100, k = 2); nil when none is given.
func (v satCmd) uncertainty(f *refrigerant.Fluid, p units.Pascal) (*units.Kelvin, []limit, error) {
	if v.PressureAccuracy == "" && v.TemperatureAccuracy == "" && v.Mounting == "" {
		return nil, nil, nil
	}
	slope, err := f.DewSlope(p)
	if err != nil {
		return nil, nil, err
	}
	table := superheat.FromExpanded(float64(f.Uncertainty()), superheat.Coverage)
	parts, limits := []float64{table}, []limit{{"table", "", table}}
	for _, given := range []struct {
		flag, what, text string
		sensitivity      float64
		parse            func(string) (float64, error)
	}{
		{"--pressure-accuracy", "pressure", v.PressureAccuracy, slope, units.ParsePressureDifference},
		{"--temperature-accuracy", "thermometer", v.TemperatureAccuracy, 1, parseKelvin},
		{"--mounting", "mounting", v.Mounting, 1, parseKelvin},
	} {
		if given.text == "" {
			continue
		}
		a, err := given.parse(given.text)
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", given.flag, err)
		}
		if a < 0 {
			return nil, nil, fmt.Errorf("%s: %q is negative", given.flag, given.text)
		}
		u := superheat.Rectangular(a * given.sensitivity)
		parts, limits = append(parts, u), append(limits, limit{given.what, "±" + given.text, u})
	}
	u := units.Kelvin(superheat.Expand(superheat.Combine(parts...), superheat.Coverage))
	return &u, limits, nil
}

func parseKelvin(text string) (float64, error) {
	d, err := units.ParseDifference(text)
	return float64(d), err
}
