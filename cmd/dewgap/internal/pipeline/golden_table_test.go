package pipeline_test

import (
	"crypto/sha256"
	"fmt"
	"hash"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"dewgap/alert"
)

// hashed hashes what is written to it, and writes it to a file if there is one.
type hashed struct {
	hash hash.Hash
	file *os.File
}

func newHashed() *hashed { return &hashed{hash: sha256.New()} }

func (h *hashed) Write(p []byte) (int, error) {
	if h.file != nil {
		if _, err := h.file.Write(p); err != nil {
			return 0, err
		}
	}
	return h.hash.Write(p)
}

// outcome is a number of events of one kind at one place with one first cause.
type outcome struct {
	kind, place, cause string
	n                  int
	orMore, optional   bool
}

func (o outcome) String() string {
	words := []string{o.kind, o.place}
	if o.cause != "" {
		words = append(words, o.cause)
	}
	return strings.Join(append(words, strconv.Itoa(o.n)), " ")
}

// covers reports whether the wanted outcome o means what was found.
func (o outcome) covers(found outcome) bool {
	return o.kind == found.kind && (o.place == "*" || o.place == found.place) && (o.cause == "" || o.cause == found.cause)
}

// summary is the events of a recording in short, sorted.
type summary []outcome

func summarize(events []alert.Event) summary {
	var out summary
	for _, ev := range events {
		o := outcome{kind: ev.Kind, place: ev.Group + "." + ev.Compressor, n: 1}
		if ev.Input != "" {
			o.place = ev.Input
		}
		if len(ev.Causes) > 0 {
			o.cause = ev.Causes[0].Cause
		}
		if i := slices.IndexFunc(out, func(x outcome) bool { return x.kind == o.kind && x.place == o.place && x.cause == o.cause }); i >= 0 {
			out[i].n++
		} else {
			out = append(out, o)
		}
	}
	slices.SortFunc(out, func(a, b outcome) int { return strings.Compare(a.String(), b.String()) })
	return out
}

func (s summary) String() string {
	if len(s) == 0 {
		return "none"
	}
	var parts []string
	for _, o := range s {
		parts = append(parts, o.String())
	}
	return strings.Join(parts, "; ")
}

// wanted is the result that a recording should have.
type wanted struct {
	text     string
	outcomes []outcome
	beyond   string // what events do not show
}

func parseWanted(text string) (wanted, error) {
	w := wanted{text: text}
	text, w.beyond, _ = strings.Cut(text, " - ")
	if text == "none" {
		return w, nil
	}
	for part := range strings.SplitSeq(text, ";") {
		o := outcome{}
		part = strings.TrimSpace(part)
		if inner, ok := strings.CutPrefix(part, "("); ok {
			o.optional = true
			if part, ok = strings.CutSuffix(inner, ")"); !ok {
				return w, fmt.Errorf("%q lacks a closing parenthesis", text)
			}
		}
		words := strings.Fields(part)
		if len(words) < 3 || len(words) > 4 {
			return w, fmt.Errorf("%q is not KIND PLACE [CAUSE] COUNT", part)
		}
		o.kind, o.place = words[0], words[1]
		if len(words) == 4 {
			o.cause = words[2]
		}
		count, more := strings.CutSuffix(words[len(words)-1], "+")
		n, err := strconv.Atoi(count)
		if err != nil || n < 1 {
			return w, fmt.Errorf("%q ends with no count above 0", part)
		}
		o.n, o.orMore = n, more
		w.outcomes = append(w.outcomes, o)
	}
	return w, nil
}

// met reports whether the events are those wanted, and no others.
func (w *wanted) met(found summary) bool {
	count := make([]int, len(w.outcomes))
	for _, f := range found {
		i := slices.IndexFunc(w.outcomes, func(o outcome) bool { return o.covers(f) })
		if i < 0 {
			return false
		}
		count[i] += f.n
	}
	for i, o := range w.outcomes {
		switch n := count[i]; {
		case n == 0 && o.optional, n == o.n, n > o.n && o.orMore:
		default:
			return false
		}
	}
	return true
}

// wantedRow is one row of the README's table.
type wantedRow struct {
	name, site, today, reached string
	ownSite                    bool
	wanted                     wanted
}

type wantedTable struct {
	path         string
	before       string // the text up to the rows
	rows         []wantedRow
	afterTheRows string
}

func readWanted(path string) (*wantedTable, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	const head = "| recording | site | wanted | today | reached |\n| --- | --- | --- | --- | --- |\n"
	before, rest, ok := strings.Cut(string(text), head)
	if !ok {
		return nil, fmt.Errorf("%s has no table that begins with\n%s", path, head)
	}
	t := &wantedTable{path: path, before: before + head}
	for rest != "" && rest[0] == '|' {
		line, after, _ := strings.Cut(rest, "\n")
		rest = after
		cells := strings.Split(strings.Trim(line, "|"), "|")
		if len(cells) != 5 {
			return nil, fmt.Errorf("%s: %q has %d cells, want 5", path, line, len(cells))
		}
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		w := wantedRow{name: cells[0], site: cells[1], today: cells[3], reached: cells[4]}
		if w.wanted, err = parseWanted(cells[2]); err != nil {
			return nil, fmt.Errorf("%s: %s: %w", path, w.name, err)
		}
		if w.reached != "yes" && w.reached != "no" {
			return nil, fmt.Errorf("%s: %s: reached is %q, want yes or no", path, w.name, w.reached)
		}
		if w.site == "" {
			w.site, w.ownSite = w.name, true
		}
		t.rows = append(t.rows, w)
	}
	t.afterTheRows = rest
	return t, nil
}

func (t *wantedTable) write() error {
	var b strings.Builder
	b.WriteString(t.before)
	for _, w := range t.rows {
		site := w.site
		if w.ownSite {
			site = ""
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s |\n", w.name, site, w.wanted.text, w.today, w.reached)
	}
	b.WriteString(t.afterTheRows)
	return os.WriteFile(t.path, []byte(b.String()), 0o644)
}

func TestWantedIsMet(t *testing.T) {
	one := outcome{kind: "floodback", place: "lt.c1", cause: "iced_coil", n: 1}
	three := outcome{kind: "floodback", place: "lt.c1", cause: "iced_coil", n: 3}
	other := outcome{kind: "floodback", place: "lt.c1", cause: "low_airflow", n: 1}
	fault := outcome{kind: "sensor_fault", place: "lt.suction_pressure", n: 1}
	for _, tt := range []struct {
		wanted string
		found  summary
		met    bool
	}{
		{"none", nil, true},
		{"none", summary{one}, false},
		{"floodback lt.c1 1", summary{one}, true},
		{"floodback lt.c1 iced_coil 1", summary{one}, true},
		{"floodback lt.c1 iced_coil 1", summary{other}, false},
		{"floodback lt.c1 iced_coil 1+", summary{other, three}, false},
		{"floodback lt.c1 2", summary{one, other}, true},
		{"floodback lt.c1 1", summary{three}, false},
		{"floodback lt.c1 1+", summary{three}, true},
		{"floodback lt.c1 4+", summary{three}, false},
		{"floodback lt.c1 1", nil, false},
		{"(floodback lt.c1 1)", nil, true},
		{"(floodback lt.c1 1)", summary{three}, false},
		{"floodback lt.c2 1", summary{one}, false},
		{"floodback * 1", summary{one}, true},
		{"floodback lt.c1 1", summary{one, fault}, false},
		{"floodback lt.c1 1; (sensor_fault lt.suction_pressure 1+)", summary{one, fault}, true},
		{"sensor_fault lt.suction_pressure 1 - within an hour", summary{fault}, true},
	} {
		w, err := parseWanted(tt.wanted)
		if err != nil {
			t.Fatal(err)
		}
		if got := w.met(tt.found); got != tt.met {
			t.Errorf("%s is met by %s: %t, want %t", tt.wanted, tt.found, got, tt.met)
		}
	}
	for _, text := range []string{"", "floodback", "floodback lt.c1", "floodback lt.c1 0", "floodback lt.c1 many", "(floodback lt.c1 1", "a b c d 1"} {
		if _, err := parseWanted(text); err == nil {
			t.Errorf("%q is taken for a wanted result", text)
		}
	}
}
