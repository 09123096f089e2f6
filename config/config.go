package config

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/BurntSushi/toml"

	"dewgap/analyze"
	"dewgap/analyze/units"
	"dewgap/collector/modbus"
	"dewgap/collector/mqtt"
)

// Config is a checked configuration. It never changes once it is read.
type Config struct {
	File string
	// Site is what analysis needs. Its points are the inputs configured, in the
	// order of the file's groups, compressors and circuits and, within each, of
	// the contract's roles. Replay takes ForRecording instead.
	Site  analyze.Site
	Units units.System // what people are shown
	// Simulated says that the plant is invented; records say so on every page.
	Simulated bool
	Altitude  units.Metre // NaN where the atmosphere was configured instead
	Modbus    []modbus.Settings
	MQTT      []mqtt.Settings
	Daemon    Daemon
	Notify    []Notify // who is told of events
	// RemoteWrite are the receivers of metrics.
	RemoteWrite []RemoteWrite
	// Verified are the comparisons of inputs with a gauge; same index as the site's
	// points. Inputs are the lines of the file where they stand.
	Verified []Verification
	Inputs   []InputText
	// Commissioning are the criteria of an acceptance record.
	Commissioning Commissioning

	// Files are the paths that the configuration names: tables, certificates, the
	// password and the data directory.
	Files []string

	// Warnings are what is allowed but probably not meant.
	Warnings Faults

	unready Faults
}

// InputText is where an input stands in the file.
type InputText struct {
	Line int    // 1 is the first
	Text string // of that line
}

// Scale returns the scale with which a point's number is read; 1 where it has no
// source.
func (c *Config) Scale(point int) float64 {
	for i := range c.Modbus {
		for _, p := range c.Modbus[i].Points {
			if p.Index == point && p.Mapping.Scale != 0 {
				return p.Mapping.Scale
			}
		}
	}
	for i := range c.MQTT {
		for _, p := range c.MQTT[i].Points {
			if p.Index == point && p.Mapping.Scale != 0 {
				return p.Mapping.Scale
			}
		}
	}
	return 1
}

// textOf returns where the table of an input stands.
func (b *builder) textOf(t *table) InputText {
	line := t.position.line
	return InputText{Line: line, Text: strings.TrimRight(b.lines[min(max(line, 1), len(b.lines))-1], "\r")}
}

// Load reads and checks a file. The error is Faults when the file could be
// read and is wrong.
func Load(path string) (*Config, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read the configuration: %w", err)
	}
	data, err := io.ReadAll(io.LimitReader(f, maxText+1))
	if err = errors.Join(err, f.Close()); err != nil {
		return nil, fmt.Errorf("read the configuration: %w", err)
	}
	return Parse(path, data)
}

// Parse checks the text of a configuration. name stands in messages, and
// files named in the text are looked for beside it.
func Parse(name string, data []byte) (*Config, error) {
	b, err := build(name, string(data))
	if err != nil {
		return nil, err
	}
	b.faults.sort()
	b.warnings.sort()
	b.unready.sort()
	if len(b.faults) > 0 {
		return nil, b.faults
	}
	b.config.Warnings, b.config.unready = b.warnings, b.unready
	return b.config, nil
}

// build reads the text into a builder, with all that it finds wrong. The error
// is that the text is no TOML.
func build(name, text string) (*builder, error) {
	if fault := tooMuch(name, text); fault != nil {
		return nil, Faults{*fault}
	}
	var values map[string]any
	if _, err := toml.Decode(text, &values); err != nil {
		return nil, Faults{syntaxFault(name, err)}
	}
	r := &reader{file: name, lines: strings.Split(text, "\n")}
	b := &builder{reader: r, config: &Config{File: name}, folder: filepath.Dir(name)}
	b.read(&table{r: r, values: values, position: positions(text), keys: rootKeys})
	return b, nil
}

// Runnable returns nil when the daemon can run on the configuration, and
// otherwise Faults that name what is missing for it: replay needs no sources,
// the daemon does.
func (c *Config) Runnable() error {
	if len(c.unready) == 0 {
		return nil
	}
	return c.unready
}

// UnreadyOf returns the faults of Runnable that stand in one table, such as
// notify[on-call]; nil where there are none.
func (c *Config) UnreadyOf(table string) error {
	var of Faults
	for _, f := range c.unready {
		if strings.HasPrefix(f.Key, table+".") {
			of = append(of, f)
		}
	}
	if len(of) == 0 {
		return nil
	}
	return of
}

var quotedKey = regexp.MustCompile(`[Kk]ey '([^']+)'`)

// syntaxFault returns where the text stops being TOML.
func syntaxFault(name string, err error) Fault {
	var parse toml.ParseError
	if !errors.As(err, &parse) {
		return Fault{File: name, Line: 1, Problem: err.Error(), Remedy: "write TOML"}
	}
	f := Fault{File: name, Line: max(1, parse.Position.Line), Key: parse.LastKey, Problem: parse.Message, offset: parse.Position.Start}
	switch {
	case strings.HasSuffix(parse.LastKey, "password"):
		f.Problem, f.Remedy = "is no text", "write it in quotes" // the message would show it
	case strings.Contains(parse.Message, "already been defined"), strings.Contains(parse.Message, "already exists"):
		f.Problem = "is defined twice"
		if key := quotedKey.FindStringSubmatch(parse.Message); f.Key == "" && key != nil {
			f.Key = key[1]
		}
		f.Remedy = "give each key once; a further compressor, circuit or source begins with its own header in double brackets"
	case strings.Contains(parse.Message, "was already created"):
		f.Remedy = "write lists such as [[suction_group]] with double brackets everywhere"
	default:
		f.Remedy = `write TOML; texts and quantities stand in quotes, such as name = "mt" or hold = "60 s"`
	}
	return f
}
