package main

import (
	"compress/gzip"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/cmd/dewgap/internal/episodes"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/config"
)

// allBelow returns all that lies below dir, names of files included.
func allBelow(t *testing.T, dir string) string {
	t.Helper()
	var all strings.Builder
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, _ := filepath.Rel(dir, path)
		all.WriteString(name + "\n")
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		var in io.Reader = f
		if strings.HasSuffix(path, ".gz") {
			z, err := gzip.NewReader(f)
			if err != nil {
				return err
			}
			all.WriteString(z.Name + z.Comment + "\n")
			in = z
		}
		_, err = io.Copy(&all, in)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all.String()
}

// secrets are what a shared episode must not hold: names of the site, of people,
// of devices, and what people wrote.
var secrets = map[string]string{
	`"demo"`: `"quincehall"`, `"lt"`: `"zephyrbank"`, `"mt"`: `"morrowside"`, `"island-1"`: `"aldertray"`, `"island-2"`: `"birchtray"`, `"freezer-room"`: `"cellarvault"`,
	`"c1"`: `"uno7"`, `"c2"`: `"dos7"`, `"c3"`: `"tres7"`,
}

// secretDay is a demo day whose names are secrets, with a configuration that has
// inputs, sensors and free text.
func secretDay(t *testing.T, dir string) (conf, day string) {
	t.Helper()
	conf, day = demoDay(t, dir, "7h")
	text, err := os.ReadFile(conf)
	if err != nil {
		t.Fatal(err)
	}
	site := string(text)
	for name, secret := range secrets {
		site = strings.ReplaceAll(site, name, secret)
	}
	site = strings.Replace(site, `name = "zephyrbank"`, `name = "zephyrbank"
temperature_sensor = { accuracy = "0.6 K", lag = "18 s", mounting = "1.2 K" }
suction_pressure = { modbus = "plcnorth", unit_id = 3, input = 7, type = "int16", scale = 0.001, signal = "4-20mA", span = "-1..12 barg", accuracy = "1 %" }
detect = { hunting_swing = "2.5 K" }`, 1)
	site = "# owner: Wrenfield estate\n" + site + "\n[daemon]\nlisten = \"127.0.0.1:9480\"\n\n[[modbus]]\nname = \"plcnorth\"\naddress = \"198.51.100.77:502\"\n"
	csv, err := os.ReadFile(day)
	if err != nil {
		t.Fatal(err)
	}
	head, rows, _ := strings.Cut(string(csv), "\n")
	for name, secret := range secrets {
		head = regexp.MustCompile(`\b`+regexp.QuoteMeta(strings.Trim(name, `"`))+`\.`).ReplaceAllString(head, strings.Trim(secret, `"`)+".")
	}
	// A failure with the words of a device in the middle of the floodback.
	lines := strings.Split(rows, "\n")
	for i := 1000; i < 1010; i++ {
		cells := strings.Split(lines[i], ",")
		for k, column := range strings.Split(head, ",") {
			if strings.HasPrefix(column, "zephyrbank.birchtray.") {
				cells[k] = "!timeout: gateway-kestrel did not answer"
			}
		}
		lines[i] = strings.Join(cells, ",")
	}
	for path, text := range map[string]string{conf: site, day: head + "\n" + strings.Join(lines, "\n")} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return conf, day
}

func TestExportedEpisodesHoldNoNames(t *testing.T) {
	dir := t.TempDir()
	conf, day := secretDay(t, dir)
	data := filepath.Join(dir, "data")
	liveDay(t, conf, day, data, func(_ *pipeline.Pipeline, j *alert.Journal, changes []alert.Change) {
		for _, c := range changes {
			if c.Kind == alert.Closed && c.Event.Kind == "floodback" && c.Event.Compressor == "dos7" {
				c.Kind = alert.FoundOnSite
				c.Event.Found = &alert.Found{Cause: "valve_stuck_open", Circuit: "birchtray", By: "Osgood Pell", At: c.At, Note: "needle eroded, behind the larkspur shelf"}
				c.Event.Acknowledged = &alert.Acknowledgement{By: "Osgood Pell", At: c.At, Note: "seen"}
				j.Add(c)
			}
		}
	})
	forbidden := []string{"wrenfield", "plcnorth", "198.51.100.77", "kestrel", "osgood", "pell", "larkspur", "eroded", "9480", "produce", "dairy", "meat"}
	for _, secret := range secrets {
		forbidden = append(forbidden, strings.Trim(secret, `"`))
	}
	for _, hide := range []bool{false, true} {
		out := filepath.Join(dir, map[bool]string{false: "dated", true: "hidden"}[hide])
		args := []string{"export", "--episodes", "--config", conf, "--data", data, "--out", out}
		if hide {
			args = append(args, "--hide-dates")
		}
		code, stdout, errs := called(t, append(args, day)...)
		if code != 0 || stdout != "" || !strings.Contains(errs, "episodes written") {
			t.Fatalf("status %d: %s", code, errs)
		}
		all := strings.ToLower(allBelow(t, out))
		for _, word := range forbidden {
			if i := strings.Index(all, word); i >= 0 {
				t.Errorf("hidden dates %t: %q is in the episodes: …%s", hide, word, all[max(0, i-60):min(len(all), i+60)])
			}
		}
		if !strings.Contains(all, ",!timeout,") {
			t.Error("the failed reads are not in the episodes")
		}
		if strings.Contains(all, "2026-") == hide {
			t.Errorf("hidden dates %t: the year is there: %t", hide, !hide)
		}
		checkEpisodes(t, out, conf, data, hide)
	}
	if code, _, errs := called(t, "export", "--episodes", "--config", conf, "--data", data, "--out", filepath.Join(dir, "dated"), day); code != 1 || !strings.Contains(errs, "empty directory") {
		t.Errorf("status %d over a directory with files: %s", code, errs)
	}
	if code, _, errs := called(t, "export", "--config", conf, "--out", filepath.Join(dir, "none"), day); code != 2 || !strings.Contains(errs, "--episodes") {
		t.Errorf("status %d without a form: %s", code, errs)
	}
}

// checkEpisodes compares the episode of the stuck valve with its event.
func checkEpisodes(t *testing.T, out, conf, data string, hidden bool) {
	t.Helper()
	events, _, err := alert.ReadEvents(data)
	if err != nil {
		t.Fatal(err)
	}
	dirs, _ := filepath.Glob(filepath.Join(out, "*"))
	looked := 0
	for _, dir := range dirs {
		e, err := episodes.Read(dir)
		if err != nil {
			t.Fatal(err)
		}
		if e.Found == nil {
			continue
		}
		looked++
		if *e.Found != (episodes.Found{Cause: "valve_stuck_open", Circuit: "circuit-2"}) || e.Group != "group-2" || e.Compressor != "compressor-2" {
			t.Errorf("found %+v at %s.%s", *e.Found, e.Group, e.Compressor)
		}
		for _, ev := range events {
			if ev.Found == nil {
				continue
			}
			if e.SecondsBelow != ev.SecondsBelow || *e.MinSuperheatK != *ev.MinSuperheatK || e.Closed.Sub(e.Began) != ev.Closed.Sub(ev.Began) || e.Circuits[0].Name != "circuit-2" || e.Circuits[0].Score != ev.Circuits[0].Score {
				t.Errorf("episode %+v of event %+v", e, ev)
			}
			if e.Began.Format(time.TimeOnly) != ev.Began.Format(time.TimeOnly) || e.Began.Equal(ev.Began) == hidden {
				t.Errorf("began %s, event %s", e.Began, ev.Began)
			}
		}
		sameSettings(t, conf, filepath.Join(dir, episodes.SiteFile))
		code, summary, errs := called(t, "replay", "--config", filepath.Join(dir, episodes.SiteFile), filepath.Join(dir, episodes.RecordingFile))
		if code != 0 || !strings.Contains(summary, "floodback major  group-2 compressor-2") {
			t.Errorf("its replay: status %d, %s%s", code, errs, summary)
		}
	}
	if looked != 1 {
		t.Errorf("%d episodes with what was found, want 1", looked)
	}
}

// sameSettings compares the group of an episode's configuration with the site's.
func sameSettings(t *testing.T, conf, exported string) {
	t.Helper()
	own, err := config.Load(conf)
	if err != nil {
		t.Fatal(err)
	}
	ep, err := config.Load(exported)
	if err != nil {
		t.Fatal(err)
	}
	a, b := own.Site.Groups[1], ep.Site.Groups[0]
	if a.Detect != b.Detect || a.Superheat != b.Superheat || a.Phase != b.Phase || a.Refrigerant != b.Refrigerant || own.Site.Atmosphere != ep.Site.Atmosphere || len(a.Circuits) != len(b.Circuits) || a.Compressors[1].Kind != b.Compressors[1].Kind || a.Circuits[1].Defrost != b.Circuits[1].Defrost {
		t.Errorf("settings %+v, want %+v", b, a)
	}
	if len(ep.Site.Sensors) != 1 || ep.Site.Sensors[0] != own.Site.Sensors[0] {
		t.Errorf("sensors %+v, want %+v", ep.Site.Sensors, own.Site.Sensors)
	}
}
