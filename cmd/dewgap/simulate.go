package main

import (
	"bufio"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"dewgap/cmd/dewgap/internal/cleanup"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

type simulateCmd struct {
	Scenario string        `help:"A ready-made scenario by name, or a file ending in .toml." placeholder:"NAME|FILE"`
	List     bool          `help:"List the ready-made scenarios and stop."`
	Format   bool          `help:"Print the format of scenario files, with every key, unit and default, and stop."`
	Show     string        `help:"Print a ready-made scenario, to begin one of your own with, and stop." placeholder:"NAME"`
	Out      string        `help:"Write the recording here; gzip if the name ends in .gz." placeholder:"F"`
	Truth    string        `help:"Write what no sensor sees: phase, liquid fraction, true superheat, faults (CSV)." placeholder:"F"`
	Config   string        `help:"Write the matching minimal site configuration, for replay." placeholder:"F"`
	Force    bool          `help:"Replace existing files."`
	Seed     uint64        `help:"Seed of noise and chance; the same seed gives the same bytes." default:"1"`
	For      time.Duration `help:"Length of the recording; default: the scenario's." placeholder:"24h"`
	Step     time.Duration `help:"Time between rows; whole seconds." default:"5s"`

	Serve   bool `help:"Put the plant on Modbus TCP, a serial line and MQTT instead of writing a recording, with an HTTP control; see below."`
	serving `embed:"" group:"With --serve:"`
}

func (simulateCmd) Help() string {
	return "Simulates an invented store. Writes what its sensors show as a recording (--out), what no sensor sees (--truth), and the configuration to replay it (--config). --list names the ready-made scenarios. For a scenario file of your own, --format prints every key with its unit and default. --show NAME prints a ready-made scenario to begin with.\n\n" + serveHelp
}

func (v simulateCmd) Run(ctx context.Context, con console) (err error) {
	switch {
	case v.List:
		return listScenarios(con.Out)
	case v.Format:
		_, err := io.WriteString(con.Out, scenarios.Format())
		return err
	case v.Show != "":
		text, err := scenarios.Text(v.Show)
		if err == nil {
			_, err = io.WriteString(con.Out, text)
		}
		return err
	}
	if v.Scenario == "" {
		return usageError{errors.New("simulate needs --scenario NAME or FILE.toml (or --list)")}
	}
	if v.Serve {
		return v.serve(ctx, con)
	}
	if v.Out == "" && v.Truth == "" && v.Config == "" {
		return usageError{errors.New("simulate needs somewhere to write: --out F, --truth F or --config F; or --serve")}
	}
	if v.Step < time.Second || v.Step%time.Second != 0 {
		return usageError{fmt.Errorf("--step %s: whole seconds, at least 1s", v.Step)}
	}
	files := output.Files{Inputs: v.inputs(), Force: v.Force, Outputs: []output.File{
		{Option: "--out", Path: v.Out}, {Option: "--truth", Path: v.Truth}, {Option: "--config", Path: v.Config},
	}}
	if err := files.Check(); err != nil {
		return err
	}
	d, err := loadScenario(v.Scenario)
	if err != nil {
		return err
	}
	if v.For == 0 {
		v.For = time.Duration(d.HoursFor * float64(time.Hour))
	}
	if v.Config != "" {
		if err := writeFile(files, v.Config, []byte(scenarios.SiteConfig(d))); err != nil {
			return err
		}
	}
	if v.Out == "" && v.Truth == "" {
		return nil
	}
	p, err := plant.New(d, v.Seed)
	if err != nil {
		return fmt.Errorf("scenario %s: %w", v.Scenario, err)
	}
	var opened cleanup.Stack
	defer opened.CloseInto(&err)
	out, err := createTable(files, v.Out)
	if err != nil {
		return err
	}
	opened.Push("finish the recording", out.close)
	truth, err := createTable(files, v.Truth)
	if err != nil {
		return err
	}
	opened.Push("finish the truth", truth.close)
	return writeRecording(ctx, p, v.For, v.Step, out.w, truth.w)
}

// inputs returns the files that the command reads.
func (v simulateCmd) inputs() []string {
	if strings.HasSuffix(v.Scenario, ".toml") {
		return []string{v.Scenario}
	}
	return nil
}

// writeFile writes one small output whole.
func writeFile(files output.Files, name string, text []byte) error {
	f, err := files.Create(name)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Close())
}

func loadScenario(name string) (plant.Description, error) {
	if !strings.HasSuffix(name, ".toml") {
		return scenarios.Load(name)
	}
	text, err := os.ReadFile(name)
	if err != nil {
		return plant.Description{}, err
	}
	return scenarios.Decode(name, string(text))
}

func listScenarios(w io.Writer) error {
	for _, name := range scenarios.Names() {
		d, err := scenarios.Load(name)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "%-26s %s\n", name, d.Title); err != nil {
			return err
		}
	}
	return nil
}

// writeRecording writes a recording by the contract's section 3 and the truth beside it.
func writeRecording(ctx context.Context, p *plant.Plant, length, step time.Duration, out, truth *bufio.Writer) error {
	out.WriteString("time")
	for _, in := range p.Inputs() {
		out.WriteString("," + in.Path + ":" + map[plant.Kind]string{plant.Pressure: "bara", plant.Temperature: "degC", plant.Switch: "bool"}[in.Kind])
	}
	out.WriteString("\n")
	truth.WriteString("time,group,compressor,phase,running,liquid_fraction,superheat_k,sump_refrigerant_kg,sump_above_dew_k,restarting,fault\n")
	for end := p.Now().Add(length); p.Now().Before(end); {
		if err := ctx.Err(); err != nil {
			return err
		}
		p.Step(step)
		at := p.Now().Format(time.RFC3339)
		out.WriteString(at)
		for i, in := range p.Inputs() {
			out.WriteByte(',')
			out.WriteString(cell(p, i, in.Kind))
		}
		out.WriteByte('\n')
		for _, t := range p.Truth() {
			fmt.Fprintf(truth, "%s,%s,%s,%s,%t,%.5f,%.3f,%.4f,%.2f,%s,%s\n", at, t.Group, t.Compressor, t.Phase, t.Running,
				t.LiquidFraction, t.SuperheatK, t.SumpRefrigerantKg, t.SumpAboveDewK, t.Restarting, t.Faults)
		}
	}
	return nil
}

func cell(p *plant.Plant, i int, kind plant.Kind) string {
	v, ok := p.Value(i)
	if !ok {
		if reason := p.Reason(i); reason != "" {
			return "!" + reason
		}
		return ""
	}
	switch kind {
	case plant.Pressure:
		return strconv.FormatFloat(v/1e5, 'f', 4, 64)
	case plant.Temperature:
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return strconv.FormatFloat(v, 'f', 0, 64)
}

// table is a file being written, or nowhere if it has no name.
type table struct {
	w    *bufio.Writer
	gz   *gzip.Writer
	file *os.File
}

func createTable(files output.Files, name string) (*table, error) {
	if name == "" {
		return &table{w: bufio.NewWriter(io.Discard)}, nil
	}
	f, err := files.Create(name)
	if err != nil {
		return nil, err
	}
	t := &table{file: f, w: bufio.NewWriter(f)}
	if strings.HasSuffix(name, ".gz") {
		t.gz = gzip.NewWriter(f)
		t.w = bufio.NewWriter(t.gz)
	}
	return t, nil
}

func (t *table) close() error {
	err := t.w.Flush()
	if t.gz != nil {
		err = errors.Join(err, t.gz.Close())
	}
	if t.file != nil {
		err = errors.Join(err, t.file.Close())
	}
	return err
}
