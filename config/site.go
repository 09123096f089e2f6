package config

import (
	"fmt"
	"math"
	"path/filepath"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/setting"
	"dewgap/analyze/units"
)

// builder fills a Config from the file's tables.
type builder struct {
	*reader
	config  *Config
	folder  string // where the file lies
	sources map[string]*source
	order   []*source
	fluids  map[string]*refrigerant.Fluid // from the user's tables
}

// beside returns a path that is relative to the configuration's folder.
func (b *builder) beside(path string) string {
	if !filepath.IsAbs(path) {
		path = filepath.Join(b.folder, path)
	}
	b.config.Files = append(b.config.Files, path)
	return path
}

func (b *builder) read(root *table) {
	b.site(root)
	b.daemon(root)
	b.commissioning(root)
	b.readSources(root)
	b.readRefrigerants(root)
	groups := root.inners("suction_group", "[[suction_group]]")
	if len(groups) == 0 && !root.has("suction_group") {
		root.fault("suction_group", "is missing: there is nothing to watch", `begin each group with [[suction_group]] and give it a name and a refrigerant`)
	}
	names := make(names)
	for _, t := range groups {
		b.group(t, names)
	}
	b.notify(root)
	b.remoteWrite(root)
	root.done()
	b.finishSources()
	b.floorsAgainstUncertainty(groups)
}

// floorsAgainstUncertainty warns, once for each floor of a group, where a
// reading at the floor could be wet gas at a usual suction pressure.
func (b *builder) floorsAgainstUncertainty(tables []*table) {
	for i := range b.config.Site.Groups {
		g := &b.config.Site.Groups[i]
		if g.Refrigerant == nil {
			continue
		}
		for _, floor := range []struct {
			key string
			k   units.Kelvin
		}{{"floor.steady", g.Detect.Floor.Steady}, {"floor.pulldown", g.Detect.Floor.Pulldown}} {
			b.floorAgainstUncertainty(tables[i], g, floor.key, floor.k)
		}
	}
}

func (b *builder) floorAgainstUncertainty(t *table, g *analyze.Group, key string, floor units.Kelvin) {
	for _, c := range g.Compressors {
		for _, dew := range typicalDew {
			budget, _, ok := b.config.budget(g, c.Name, dew)
			if !ok || len(budget.Parts) == 0 {
				continue
			}
			found, remedy, ok := budget.FloorWarning(floor)
			if !ok {
				continue
			}
			r := evidence.Renderer{System: b.config.Units}
			problem := fmt.Sprintf("at dew %s, compressor %s: %s", b.config.Units.Temperature(dew), c.Name, r.Text(found))
			if !t.has(key) {
				key = "floor"
			}
			t.warn(key, problem, r.Text(remedy))
			return
		}
	}
}

// names finds names used twice; the value is the kind of thing that has the name.
type names map[string]string

// take reads the table's name. what is the kind of thing that has it.
func (n names) take(t *table, what, example string) string {
	name, ok := t.need("name", example)
	if !ok {
		return ""
	}
	if !reading.ValidName(name) {
		t.fault("name", fmt.Sprintf("%q is no name", name), fmt.Sprintf("use lower-case letters, digits, - and _, beginning with a letter, such as %q", example))
		return ""
	}
	if owner := n[name]; owner != "" {
		t.fault("name", fmt.Sprintf("%q is already the name of a %s", name, owner), "give each its own name")
		return ""
	}
	n[name] = what
	return name
}

// siteRows are the keys of [site].
var siteRows = []setting.Row[Config]{
	{
		Key: "name", Field: setting.Plain(func(c *Config) *string { return &c.Site.Name }, "site"),
		Meaning: "Name of the site in metrics, events and reports.", Example: `"demo"`,
	},
	{
		Key: "altitude", Field: setting.ByHand[Config]("length (m, ft)", "0 m", "-2000 m to 6000 m"),
		Meaning: "Altitude above sea level, for gauge transmitters: 1000 m left out is up to 1.6 K of superheat.", Example: `"120 m"`,
	},
	{
		Key: "atmosphere", Field: setting.ByHand[Config]("pressure (hPa, kPa, inHg)", "from the altitude", "472 hPa to 1100 hPa"),
		Meaning: "Air pressure at the site, in place of the altitude.", Example: `"1013.25 hPa"`,
	},
	{
		Key: "units", Field: setting.OneOf(func(c *Config) *units.System { return &c.Units }, units.SI, "", []setting.Word[units.System]{{Name: "si", Value: units.SI}, {Name: "us", Value: units.US}}),
		Meaning: "Units that people are shown; machines always get SI.", Example: `"si"`,
	},
	{
		Key: "simulated", Field: setting.Plain(func(c *Config) *bool { return &c.Simulated }, false),
		Meaning: "The plant is invented: records say so on every page. `demo` and `simulate` write it.", Example: "true",
	},
}

func (b *builder) site(root *table) {
	site := &b.config.Site
	site.Atmosphere, b.config.Altitude = units.StandardAtmosphere, 0
	site.Name = setting.Defaults(siteRows).Site.Name
	t, ok := root.inner("site", `[site] with name = "demo"`)
	if !ok {
		if !root.has("site") {
			root.warn("site", "is missing: sea level and the name \"site\" are assumed", `add [site] with name and altitude`)
		}
		return
	}
	read(t, siteRows, b.config)
	if !t.has("name") {
		t.warn("name", `is missing: metrics and events will be labelled site "site"`, `add name = "…"`)
	}
	b.atmosphere(t)
	t.done()
}

func (b *builder) atmosphere(t *table) {
	altitude, stated := quantity(t, "altitude", units.ParseLength)
	air, measured := quantity(t, "atmosphere", units.ParseAtmosphere)
	switch {
	case t.has("altitude") && t.has("atmosphere"):
		t.fault("atmosphere", "is given beside an altitude, which states the same", "keep one of the two")
	case measured:
		b.config.Site.Atmosphere, b.config.Altitude = air, units.Metre(math.NaN())
	case stated:
		air, err := units.Atmosphere(altitude)
		if err != nil {
			t.fault("altitude", fmt.Sprintf("%q is no altitude of a store", t.values["altitude"]), `it lies between -2000 m and 6000 m; write for example "120 m" or "400 ft"`)
			return
		}
		b.config.Site.Atmosphere, b.config.Altitude = air, altitude
	case !t.has("altitude") && !t.has("atmosphere"):
		t.warn("altitude", "is missing: sea level is assumed for gauge transmitters", `add altitude = "120 m"; 1000 m of altitude left out is up to 1.6 K of superheat`)
	}
}

func (b *builder) group(t *table, groups names) {
	g := analyze.Group{Ambient: units.Celsius(math.NaN())}
	g.Name = groups.take(t, "suction group", "mt")
	g.Refrigerant = b.refrigerant(t)
	b.detection(t, &g)
	b.sensors(t, &g)
	read(t, groupRows, &g)
	own := b.inputs(t, reading.AtGroup, g.Name, "")
	if t.has("ambient") && own[reading.AmbientTemperature] {
		t.fault("ambient", "is given beside an ambient_temperature input, which states the same", "keep one of the two")
	}

	members := make(names)
	compressors := t.inners("compressor", "[[suction_group.compressor]]")
	for _, ct := range compressors {
		c := b.compressor(ct, g.Name, members, own[reading.SuctionPressure])
		g.Compressors = append(g.Compressors, c)
	}
	if len(compressors) == 0 && !t.has("compressor") {
		t.fault("compressor", "is missing: a group has at least one", `add [[suction_group.compressor]] with name = "c1" below the group`)
	}
	circuits := t.inners("circuit", "[[suction_group.circuit]]")
	for _, ct := range circuits {
		g.Circuits = append(g.Circuits, b.circuit(ct, g.Name, members))
	}
	if len(circuits) == 0 && !t.has("circuit") {
		t.warn("circuit", "is missing: defrosts cannot be distinguished from steady running, and no event can name a circuit", `add [[suction_group.circuit]] with name = "case-1" for each evaporator, or for several that defrost together`)
	}
	t.done()
	b.config.Site.Groups = append(b.config.Site.Groups, g)
}

func (b *builder) compressor(t *table, group string, members names, pressure bool) analyze.Compressor {
	const belongs = "it belongs to the sensor: suction_temperature = { %s }, or the group's temperature_sensor = { %[1]s }"
	t.hints = map[string]string{
		"drip":     `it belongs to the suction group: drip = "3 min"`,
		"lag":      fmt.Sprintf(belongs, `lag = "20 s"`),
		"mounting": fmt.Sprintf(belongs, `mounting = "1.5 K"`),
	}
	var c analyze.Compressor
	c.Name = members.take(t, "compressor", "c1")
	read(t, compressorRows, &c)
	own := b.inputs(t, reading.AtCompressor, group, c.Name)
	if !pressure && !own[reading.SuctionPressure] {
		t.notReady("", "has no suction pressure: neither the compressor nor its group has an input for it", `add suction_pressure = { modbus = "…", … } to the group`)
	}
	if !own[reading.SuctionTemperature] {
		t.notReady("suction_temperature", "has no input", `add suction_temperature = { modbus = "…", … }: without it there is no superheat`)
	}
	t.done()
	return c
}

func (b *builder) circuit(t *table, group string, members names) analyze.Circuit {
	t.hints = map[string]string{"drip": `it belongs to the suction group: drip = "3 min"`}
	var c analyze.Circuit
	c.Name = members.take(t, "circuit", "case-1")
	read(t, circuitRows, &c)
	b.inputs(t, reading.AtCircuit, group, c.Name)
	t.done()
	return c
}

// sensors reads what is stated of all the group's sensors at once.
func (b *builder) sensors(t *table, g *analyze.Group) {
	if p, ok := t.inner("pressure_sensor", `{ accuracy = "0.13 bar" }`); ok {
		g.Superheat.Pressure = b.sensor(p, reading.Pressure, span{})
		p.done()
	}
	if p, ok := t.inner("temperature_sensor", `{ accuracy = "0.5 K", lag = "20 s", mounting = "1.5 K" }`); ok {
		g.Superheat.Temperature = b.sensor(p, reading.Temperature, span{})
		p.done()
	}
}
