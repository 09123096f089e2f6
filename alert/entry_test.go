package alert

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
)

// TestJournalOfSentences opens a journal whose evidence and notes were
// sentences (testdata/README.md): everything is shown as it was written, open
// events go on, and what is written from then on has codes.
func TestJournalOfSentences(t *testing.T) {
	data, err := os.ReadFile("testdata/sentences.journal")
	if err != nil {
		t.Fatal(err)
	}
	j, dir := reopened(t, data)
	if r := j.Status().Recovered; r.Entries != bytes.Count(data, []byte("\n")) || r.Damaged != 0 || r.TornBytes != 0 {
		t.Fatalf("recovered %+v", r)
	}
	us := evidence.Renderer{System: units.US}
	var notes []string
	for _, n := range j.Notes() {
		notes = append(notes, us.Text(n.What))
	}
	if got := strings.Join(notes, "|"); got != "start: dev|gap: nothing was read for 18s|stop: dev" {
		t.Errorf("notes %q", got)
	}
	events := j.Events(time.Time{}, false)
	if len(events) != 4 {
		t.Fatalf("%d events, want 4", len(events))
	}
	ev := events[0]
	want := []string{
		"superheat came down to -0.5 K, 11.5 K below the floor of 11 K (defrost); last seen at 10.3 K",
		"the suction line has been at dew for 332 min: the gas is wet, how wet the superheat cannot tell",
	}
	for i, w := range want {
		if got := us.Text(ev.Evidence[i]); got != w {
			t.Errorf("evidence %d is shown as %q, was written as %q", i, got, w)
		}
	}
	if len(ev.Causes) == 0 || us.Text(ev.Causes[0].Why[1]) != "the outlet is low without swinging: a stuck valve does not move" {
		t.Errorf("causes %+v", ev.Causes)
	}

	// The open one goes on under a tracker of today.
	open := j.Open()
	if len(open) != 1 || open[0].Kind != "floodback" {
		t.Fatalf("open %+v", open)
	}
	site := testSite()
	site.Groups[0].Name = "lt"
	tr := NewTracker(site)
	tr.Restore(open, nil)
	if got := tr.Open()[0]; *got.MinSuperheatK != *open[0].MinSuperheatK || len(got.Evidence) != len(open[0].Evidence) {
		t.Errorf("restored as %+v", got)
	}
	j.Refresh(open[0].Opened.Add(time.Hour), tr.Open(), true)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if got := openJournal(t, dir, 0).Open(); len(got) != 1 || us.Text(got[0].Evidence[0]) != us.Text(open[0].Evidence[0]) {
		t.Errorf("written again as %+v", got)
	}
}

// TestEntriesHoldCodesValuesAndWords: the contract's form, with words in the
// units that were set.
func TestEntriesHoldCodesValuesAndWords(t *testing.T) {
	dir := t.TempDir()
	j := openJournal(t, dir, 0)
	j.SetRenderer(evidence.Renderer{System: units.US})
	ev := event(0)
	why := []evidence.Item{evidence.New(evidence.InputConcerned, evidence.Name("input", "a.b"))}
	ev.Evidence = []evidence.Item{evidence.New(evidence.SuperheatBelowFloor, evidence.Difference("min_superheat", 1), evidence.Difference("below", 7), evidence.Difference("floor", 8), evidence.Name("phase", "pulldown"))}
	ev.Circuits, ev.Causes = []Score{{Name: "case-1", Score: 0.8, Why: why}}, []Cause{{Cause: "unknown", Score: 0.5, Why: why}}
	withdrawn := evidence.New(evidence.ClosedSubjectGone)
	ev.Withdrawn = &withdrawn
	j.Add(Change{Opened, ev.Opened, ev})
	j.Note(Note{At: start, What: evidence.New(evidence.DataGap, evidence.Duration("gap", 90*time.Second))})
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, JournalFile))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		`"evidence":[{"code":"superheat_below_floor","values":{"min_superheat_k":1,"below_k":7,"floor_k":8,"phase":"pulldown"},"text":"superheat came down to 1.8 °F, 12.6 °F below the floor of 14.4 °F (pulldown)"}]`,
		`"circuits":[{"name":"case-1","score":0.8,"why":[{"code":"input_concerned","values":{"input":"a.b"},"text":"input a.b"}]}]`,
		`"causes":[{"cause":"unknown","score":0.5,"why":[{"code":"input_concerned","values":{"input":"a.b"},"text":"input a.b"}]}]`,
		`"withdrawn":{"code":"closed_subject_gone","values":{},"text":"closed because its input or compressor is no longer configured"},"found":null,"acknowledged":null}`,
		`"entry":"note","note":{"code":"data_gap","values":{"gap_seconds":90},"text":"nothing was read for 90 s"}}`,
	} {
		if !bytes.Contains(data, []byte(want)) {
			t.Errorf("lacks %s in\n%s", want, data)
		}
	}
	k := openJournal(t, dir, 0)
	if n := k.Notes(); len(n) != 1 || n[0].What.Number("gap_seconds") != 90 || !n[0].At.Equal(start) {
		t.Errorf("notes %+v", n)
	}
}

// TestEventJSON: what nobody has acknowledged or found is null, what was not
// withdrawn has no such key, and lists are never null.
func TestEventJSON(t *testing.T) {
	data, err := json.Marshal(Event{}.WithText(evidence.Renderer{}))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"found":null`, `"acknowledged":null`, `"evidence":[]`, `"circuits":[]`, `"causes":[]`} {
		if !bytes.Contains(data, []byte(want)) {
			t.Errorf("lacks %s: %s", want, data)
		}
	}
	if bytes.Contains(data, []byte("withdrawn")) {
		t.Errorf("withdrawn: %s", data)
	}
	var back Event
	full := `{"acknowledged":{"by":"a","at":"2026-03-01T06:41:20Z","note":"n","until":null},"found":{"cause":"none","circuit":"","by":"b","at":"2026-03-01T06:41:20Z","note":""}}`
	if err := json.Unmarshal([]byte(full), &back); err != nil || back.Acknowledged == nil || back.Acknowledged.By != "a" || back.Found == nil || back.Found.Cause != "none" {
		t.Errorf("%v: %+v", err, back)
	}
}
