package bench

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/episodes"
	"dewgap/collector/recording"
	"dewgap/config"
)

// Folder is a directory of stores, each a directory of its own with
//
//	site.toml         a configuration, without where inputs come from
//	recording.csv.gz  a recording (contract, section 3)
//	truth.csv.gz      one row for each row of the recording: time, and for each
//	                  compressor GROUP.NAME.phase, .superheat_k and .liquid
//	truth.json        the fault, the flooded starts, whether it is healthy
//
// or an episode as dewgap export writes it, which has episode.json with what was
// found in place of the truth.
type Folder struct {
	Dir   string
	Match *regexp.Regexp // of stores' names; nil takes all
	Alter Alter
}

// Alter makes a recording harder, to see how robust the figures are.
type Alter struct {
	Missing Missing // drop these signals
	Bare    bool    // drop discharge and sump temperatures
	Thin    int     // keep each nth row; 0 and 1 keep all
	Noise   float64 // added: K on temperatures, and a tenth of it in bar on pressures
	Lag     float64 // s, added to temperatures
}

// Stores lists the stores of the folder by name.
func (f *Folder) Stores() ([]string, error) {
	var found, names []string
	for _, file := range []string{"truth.json", episodes.EpisodeFile} {
		paths, err := filepath.Glob(filepath.Join(f.Dir, "*", file))
		if err != nil {
			return nil, err
		}
		found = append(found, paths...)
	}
	for _, path := range found {
		name := filepath.Base(filepath.Dir(path))
		if f.Match == nil || f.Match.MatchString(name) {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return nil, fmt.Errorf("%s holds no store (a directory with site.toml, recording.csv.gz, truth.csv.gz and truth.json; or an exported episode) that is asked for", f.Dir)
	}
	return names, nil
}

// storeFacts is what truth.json holds of a store.
type storeFacts struct {
	Healthy bool `json:"healthy"`
	Fault   *struct {
		Cause      string `json:"cause"`
		Circuit    string `json:"circuit"`
		Group      string `json:"group"`
		Compressor string `json:"compressor"`
		Input      string `json:"input"`
	} `json:"fault"`
	FaultFrom time.Time `json:"fault_from"`
	Floods    []struct {
		Group      string    `json:"group"`
		Compressor string    `json:"compressor"`
		At         time.Time `json:"at"`
	} `json:"flooded_starts"`
}

// Run plays one store and adds its scores. It returns the signals that the
// store does without after Alter.
func (f *Folder) Run(name string, t, base *Tally) (missing Missing, err error) {
	dir := filepath.Join(f.Dir, name)
	if !hasTruth(dir) {
		return f.runEpisode(name, t, base)
	}
	text, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		return missing, err
	}
	var facts storeFacts
	if err := json.Unmarshal(text, &facts); err != nil {
		return missing, fmt.Errorf("%s: truth.json: %w", name, err)
	}
	cfg, err := config.Load(filepath.Join(dir, "site.toml"))
	if err != nil {
		return missing, err
	}
	file := filepath.Join(dir, "recording.csv.gz")
	site, err := f.Alter.site(cfg, file)
	if err != nil {
		return missing, err
	}
	missing = missingIn(site)
	c := &Comparison{Name: name, Healthy: facts.Healthy}
	p, err := newPlayer(site, c)
	if err != nil {
		return missing, err
	}
	facts.settle(c)
	truth, err := openTruth(filepath.Join(dir, "truth.csv.gz"), site)
	if err != nil {
		return missing, err
	}
	defer truth.close()
	if err := f.play(p, truth, file); err != nil {
		return missing, fmt.Errorf("%s: %w", name, err)
	}
	p.score(t, base)
	return missing, nil
}

// site is the configured site with the recording's inputs that are kept.
func (a *Alter) site(cfg *config.Config, file string) (analyze.Site, error) {
	columns, err := recording.Columns(file)
	if err != nil {
		return analyze.Site{}, err
	}
	var paths []string
	for _, col := range columns {
		if !a.drops(col.Point) {
			paths = append(paths, col.Point.Path)
		}
	}
	return cfg.ForRecording(paths)
}

func (a *Alter) drops(p reading.Point) bool {
	switch p.Role {
	case reading.Running:
		return a.Missing.Running
	case reading.Defrost:
		return a.Missing.Defrost
	case reading.DischargeTemperature, reading.SumpTemperature:
		return a.Bare
	}
	return false
}

func (f *Folder) play(p *player, truth *truthFile, file string) error {
	index := map[string]int{}
	for i, pt := range p.site.Points {
		index[pt.Path] = i
	}
	dropped := len(p.site.Points)
	in, err := recording.Open(file, func(path string) (int, error) {
		if i, ok := index[path]; ok {
			return i, nil
		}
		return dropped, nil
	}, p.site.Atmosphere)
	if err != nil {
		return err
	}
	defer in.Close()
	alter := newAlterer(f.Alter, p.site)
	rows := make([]Truth, len(p.c.Machines)) // stays empty without a truth
	var row reading.Row
	for n := 0; ; n++ {
		if err := in.Next(&row); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		if truth != nil {
			if err := truth.next(row.Time); err != nil {
				return err
			}
			rows = truth.rows
		}
		kept := row.Readings[:0]
		for _, r := range row.Readings {
			if r.Point < dropped {
				kept = append(kept, r)
			}
		}
		row.Readings = kept
		alter.row(&row)
		if f.Alter.Thin > 1 && n%f.Alter.Thin != 0 {
			continue
		}
		p.step(&row, rows)
	}
}

// settle takes the facts into the comparison.
func (facts *storeFacts) settle(c *Comparison) {
	c.Starts = make([][]time.Time, len(c.Machines))
	for _, f := range facts.Floods {
		for i, m := range c.Machines {
			if m.Group == f.Group && m.Name == f.Compressor {
				c.Starts[i] = append(c.Starts[i], f.At)
			}
		}
	}
	if facts.Fault == nil {
		return
	}
	c.Fault = Fault{Circuit: facts.Fault.Circuit, Input: facts.Fault.Input, From: facts.FaultFrom}
	if facts.Fault.Cause != "" {
		c.Fault.Causes = []string{facts.Fault.Cause}
	}
	c.mislead()
}

// truthFile reads truth.csv.gz beside the recording.
type truthFile struct {
	file   *os.File
	in     *bufio.Scanner
	name   string
	floors []float64 // steady, pulldown of each machine
	column []int     // first column of each machine
	cells  [][]byte
	rows   []Truth
}

func openTruth(path string, site analyze.Site) (*truthFile, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	z, err := gzip.NewReader(bufio.NewReader(file))
	if err != nil {
		return nil, err
	}
	t := &truthFile{file: file, in: bufio.NewScanner(z), name: path}
	t.in.Buffer(make([]byte, 64<<10), 1<<20)
	if !t.in.Scan() {
		return nil, fmt.Errorf("%s: no header", path)
	}
	at := map[string]int{}
	for i, name := range bytes.Split(t.in.Bytes(), []byte{','}) {
		at[string(name)] = i
	}
	for i, m := range machines(site) {
		col, ok := at[m.Group+"."+m.Name+".phase"]
		if !ok {
			return nil, fmt.Errorf("%s: no column %s.%s.phase", path, m.Group, m.Name)
		}
		t.column = append(t.column, col)
		f := floors(site)[i]
		t.floors = append(t.floors, f.Steady, f.Pulldown)
	}
	t.rows = make([]Truth, len(t.column))
	return t, nil
}

func (t *truthFile) close() { t.file.Close() }

// next reads the row of time at.
func (t *truthFile) next(at time.Time) error {
	if !t.in.Scan() {
		return fmt.Errorf("%s ends before the recording, at %s", t.name, at)
	}
	t.cells = t.cells[:0]
	for rest := t.in.Bytes(); ; {
		cell, after, more := bytes.Cut(rest, []byte{','})
		t.cells = append(t.cells, cell)
		if !more {
			break
		}
		rest = after
	}
	when, err := time.Parse(time.RFC3339Nano, string(t.cells[0]))
	if err != nil || !when.Equal(at) {
		return fmt.Errorf("%s: row of %s stands beside the recording's row of %s", t.name, t.cells[0], at)
	}
	for i, col := range t.column {
		x := Truth{Phase: phaseOf(string(t.cells[col])), Floor: t.floors[2*i]}
		if x.Phase == frame.Pulldown {
			x.Floor = t.floors[2*i+1]
		}
		if x.Superheat, err = strconv.ParseFloat(string(t.cells[col+1]), 64); err != nil {
			return fmt.Errorf("%s: %w", t.name, err)
		}
		if x.Liquid, err = strconv.ParseFloat(string(t.cells[col+2]), 64); err != nil {
			return fmt.Errorf("%s: %w", t.name, err)
		}
		t.rows[i] = x
	}
	return nil
}

// alterer adds noise and lag to rows.
type alterer struct {
	Alter
	kind []reading.Kind
	last []float64
	at   []time.Time
	r    *rand.Rand
}

func newAlterer(a Alter, site analyze.Site) *alterer {
	x := &alterer{Alter: a, r: rand.New(rand.NewPCG(1, 2)), last: make([]float64, len(site.Points)), at: make([]time.Time, len(site.Points))}
	for _, p := range site.Points {
		x.kind = append(x.kind, p.Role.Kind())
	}
	return x
}

func (a *alterer) row(row *reading.Row) {
	if a.Noise == 0 && a.Lag == 0 {
		return
	}
	for i := range row.Readings {
		r := &row.Readings[i]
		if r.Quality != reading.Good {
			continue
		}
		switch k := r.Point; a.kind[k] {
		case reading.Temperature:
			if a.Lag > 0 {
				if !a.at[k].IsZero() {
					dt := row.Time.Sub(a.at[k]).Seconds()
					r.Value = a.last[k] + (r.Value-a.last[k])*dt/(dt+a.Lag)
				}
				a.last[k], a.at[k] = r.Value, row.Time
			}
			r.Value += a.Noise * a.r.NormFloat64()
		case reading.Pressure:
			r.Value += a.Noise * 1e4 * a.r.NormFloat64()
		}
	}
}
