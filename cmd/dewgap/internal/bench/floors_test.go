package bench

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

const floorsFile = "testdata/floors.csv"

// hold compares the figures of a set with its floors, or raises them with -update.
func hold(t *testing.T, set string, figures []Figure) {
	t.Helper()
	floors, err := ReadFloors(floorsFile)
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		floors.Raise(set, figures)
		if err := floors.Write(floorsFile); err != nil {
			t.Fatal(err)
		}
	}
	missed := floors.Missed(set, figures)
	if len(missed) > 0 {
		t.Errorf("the analysis got worse:\n  %s\nRun with -notes to see where. Floors only rise (-update); to lower one, edit %s by hand and give the reason in the commit.",
			strings.Join(missed, "\n  "), floorsFile)
	}
	for name := range floors[set] {
		if !slices.ContainsFunc(figures, func(f Figure) bool { return f.Name == name }) {
			t.Errorf("%s has a floor for %q of %q, which is no figure", floorsFile, name, set)
		}
	}
	if len(floors[set]) == 0 {
		t.Errorf("%s has no floors for %q; run with -update", floorsFile, set)
	}
}

// quick are few generated stores that every test run scores: three floods, a
// flooded start, a sensor fault, a healthy store and a healthy blind one.
func quick() []Case {
	cases := []Case{
		{Seed: 2001, Fault: "valve_stuck_open", Sampling: 5 * time.Second},
		{Seed: 2002, Fault: "iced_coil", Sampling: 10 * time.Second},
		{Seed: 2002, Fault: "hot_gas_carryover", Sampling: 10 * time.Second},
		{Seed: 1001, Fault: "flooded_start", Sampling: 10 * time.Second},
		{Seed: 2001, Fault: "sensor_offset", Sampling: 10 * time.Second},
		{Seed: 2005, Sampling: 5 * time.Second},
		{Seed: 2006, Sampling: 10 * time.Second, Missing: noSignals},
	}
	for i := range cases {
		cases[i].Hours, cases[i].Noise, cases[i].Lag = 5, 1, 1
	}
	return cases
}

// TestQuick holds a small set of generated stores to its floors. The full set:
// TestFull.
func TestQuick(t *testing.T) {
	if *dir != "" || *stores > 0 || *full {
		t.Skip("another set is asked for")
	}
	var all, plain Tally
	for _, s := range scoreGenerated(t, quick()) {
		all.Add(&s.tally)
		plain.Add(&s.plain)
	}
	if *notes {
		all.Print(os.Stdout, &plain)
		t.Log(strings.Join(all.Notes, "\n"))
	}
	hold(t, "quick", all.Figures())
}

func TestFloors(t *testing.T) {
	up := Figure{Name: "recall", Value: 0.98765, Of: 10, Higher: true}
	down := Figure{Name: "delay", Value: 10.0001, Of: 10}
	none := Figure{Name: "nothing", Higher: true}
	f := Floors{}
	f.Raise("a", []Figure{up, down, none})
	if got := f["a"]; len(got) != 2 || got["recall"] != 0.987 || got["delay"] != 10.001 {
		t.Fatalf("raised to %v, want recall 0.987 and delay 10.001 alone", got)
	}
	path := filepath.Join(t.TempDir(), "floors.csv")
	if err := f.Write(path); err != nil {
		t.Fatal(err)
	}
	f, err := ReadFloors(path)
	if err != nil {
		t.Fatal(err)
	}
	if m := f.Missed("a", []Figure{up, down}); m != nil {
		t.Errorf("the figures that floors were made from miss them: %v", m)
	}
	for _, tt := range []struct {
		name string
		fig  Figure
		want string
	}{
		{"a share falls", Figure{Name: "recall", Value: 0.98, Of: 10, Higher: true}, "a: recall is 0.980 (of 10); its floor is 0.987"},
		{"a delay grows", Figure{Name: "delay", Value: 11, Of: 10}, "a: delay is 11.000 (of 10); its floor is 10.001"},
		{"nothing is left to stand on", Figure{Name: "recall", Value: 1, Higher: true}, "a: recall stands on nothing any more; it was 0.987"},
	} {
		if m := f.Missed("a", []Figure{tt.fig}); len(m) != 1 || m[0] != tt.want {
			t.Errorf("%s: found %q, want %q", tt.name, m, tt.want)
		}
	}
	f.Raise("a", []Figure{{Name: "recall", Value: 0.5, Of: 10, Higher: true}, {Name: "delay", Value: 50, Of: 3}})
	if f["a"]["recall"] != 0.987 || f["a"]["delay"] != 10.001 {
		t.Errorf("a worse figure lowered its floor: %v", f["a"])
	}
}
