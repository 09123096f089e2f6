package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/explain"
	"dewgap/config"
)

type explainCmd struct {
	Config string `type:"path" placeholder:"FILE" help:"Configuration of the site: where its data directory is, and which units people are shown."`
	Data   string `type:"path" placeholder:"DIR" help:"The data directory with the journal; by default the configuration's."`
	Events string `type:"path" placeholder:"FILE" help:"Read events from here (JSON lines, as replay writes them) instead of a journal."`
	Units  string `enum:"si,us,config" default:"config" help:"si or us; by default the configuration's, else si."`
	JSON   bool   `name:"json" help:"Print one JSON object."`
	ID     string `arg:"" name:"event-id" help:"The event's id, as the page, the API and events.jsonl show it; its beginning or end will do where that is clear."`
}

func (explainCmd) Help() string {
	return "Explains one event with its numbers: when, in which phase, how deep and how long. Gives its severity, the likely circuit and the likely causes, each with the evidence. Lists what to check next, in order. Reads only; a daemon may be running."
}

func (v *explainCmd) Run(con console) error {
	render := evidence.Renderer{System: units.SI, Atmosphere: units.StandardAtmosphere}
	data := v.Data
	if v.Config != "" {
		cfg, err := config.Load(v.Config)
		if err != nil {
			return err
		}
		render = evidence.Renderer{System: cfg.Units, Atmosphere: cfg.Site.Atmosphere, Pressure: cfg.Site.PressureUnit()}
		if data == "" {
			data = cfg.Daemon.Data
		}
	}
	if v.Units != "config" {
		system, err := units.ParseSystem(v.Units)
		if err != nil {
			return err
		}
		render = render.In(system)
	}
	events, err := v.read(data, con.Err)
	if err != nil {
		return err
	}
	ev, err := findEvent(events, v.ID)
	if err != nil {
		return err
	}
	explanation := explain.Of(ev, render)
	if v.Events == "" {
		maintenance, err := alert.ReadMaintenance(data)
		if err != nil {
			return err
		}
		explanation.DuringMaintenance(alert.During(maintenance, &ev))
	}
	if v.JSON {
		enc := json.NewEncoder(con.Out)
		enc.SetEscapeHTML(false)
		return enc.Encode(explanation)
	}
	return explanation.Write(con.Out)
}

func (v *explainCmd) read(data string, warn io.Writer) ([]alert.Event, error) {
	switch {
	case v.Events != "":
		return readEventLines(v.Events)
	case data != "":
		events, found, err := alert.ReadEvents(data)
		if text := found.String(); text != "" {
			fmt.Fprintln(warn, "dewgap:", text)
		}
		return events, err
	}
	return nil, usageError{errors.New("where is the event? give --config, --data or --events")}
}

// readEventLines reads events as replay and the API write them.
func readEventLines(name string) ([]alert.Event, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return eventLines(f, name)
}

// eventLines reads events from r, which errors call name.
func eventLines(r io.Reader, name string) ([]alert.Event, error) {
	var events []alert.Event
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	for n := 1; lines.Scan(); n++ {
		if strings.TrimSpace(lines.Text()) == "" {
			continue
		}
		var ev alert.Event
		if err := json.Unmarshal(lines.Bytes(), &ev); err != nil {
			return nil, fmt.Errorf("%s:%d: not an event: %w; want one JSON object a line, as replay --events writes", name, n, err)
		}
		events = append(events, ev)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return events, nil
}

// findEvent returns the event with id, or the only one whose id begins or ends so.
func findEvent(events []alert.Event, id string) (alert.Event, error) {
	var near []alert.Event
	for _, ev := range events {
		if ev.ID == id {
			return ev, nil
		}
		if strings.HasPrefix(ev.ID, id) || strings.HasSuffix(ev.ID, id) {
			near = append(near, ev)
		}
	}
	switch len(near) {
	case 1:
		return near[0], nil
	case 0:
		return alert.Event{}, fmt.Errorf("no event %q among %d%s", id, len(events), newestIDs(events))
	}
	return alert.Event{}, fmt.Errorf("%d events fit %q: give more of the id%s", len(near), id, newestIDs(near))
}

// newestIDs lists the newest ids, for a message.
func newestIDs(events []alert.Event) string {
	const most = 5
	text := ""
	for i := len(events) - 1; i >= 0 && i >= len(events)-most; i-- {
		text += "\n  " + events[i].ID
	}
	if text == "" {
		return ""
	}
	return "; the newest are" + text
}
