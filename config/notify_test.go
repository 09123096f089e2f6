package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the machine may have no time zones
)

// TestQuietHours: from is inside and to is not, also over midnight and where the
// clocks of the zone go back (Vienna, 2026-10-25).
func TestQuietHours(t *testing.T) {
	vienna, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	night := Quiet{From: 22 * time.Hour, To: 6 * time.Hour, Zone: vienna}
	noon := Quiet{From: 12 * time.Hour, To: 13*time.Hour + 30*time.Minute, Zone: time.UTC}
	for _, c := range []struct {
		quiet Quiet
		at    string
		want  bool
	}{
		{night, "2026-12-01T20:59:59Z", false},
		{night, "2026-12-01T21:00:00Z", true},
		{night, "2026-12-02T04:59:59Z", true},
		{night, "2026-12-02T05:00:00Z", false},
		{night, "2026-10-25T00:30:00Z", true}, // 02:30 for the first time
		{night, "2026-10-25T01:30:00Z", true}, // and again
		{noon, "2026-12-01T11:59:59Z", false},
		{noon, "2026-12-01T12:00:00Z", true},
		{noon, "2026-12-01T13:30:00Z", false},
		{Quiet{Zone: time.UTC}, "2026-12-01T00:00:00Z", false},
	} {
		at, err := time.Parse(time.RFC3339, c.at)
		if err != nil {
			t.Fatal(err)
		}
		if got := c.quiet.At(at); got != c.want {
			t.Errorf("%v to %v: quiet at %s: %v", c.quiet.From, c.quiet.To, c.at, got)
		}
	}
}

// TestSecretsOfTargets: what is secret is read from files, and neither a fault nor
// a printed configuration shows it.
func TestSecretsOfTargets(t *testing.T) {
	site := "[site]\nname = \"demo\"\n[[suction_group]]\nname = \"mt\"\nrefrigerant = \"R448A\"\n[[suction_group.compressor]]\nname = \"c1\"\n[[notify]]\nname = \"on-call\"\nkind = \"webhook\"\nurl_file = \"url\"\nsecret_file = \"key\"\nheader_file = \"headers\"\nusername = \"demo\"\npassword_file = \"password\"\n"
	const token = "tok3n-of-nobody"
	good := map[string]string{
		"url": "https://hooks.example/" + token + "\n", "key": "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYX\n",
		"headers": "Authorization: Bearer " + token + "\n", "password": token + "\n",
	}
	for name, c := range map[string]struct {
		change map[string]string
		want   string // part of the fault; empty: none
	}{
		"all right":       {nil, ""},
		"short key":       {map[string]string{"key": "whsec_" + "AAAA"}, "24 to 64 bytes"},
		"key of no form":  {map[string]string{"key": token}, "is no key"},
		"another scheme":  {map[string]string{"url": "gopher://" + token}, "is no address for webhook"},
		"header":          {map[string]string{"headers": token}, "no header"},
		"empty password":  {map[string]string{"password": "\n"}, "is empty"},
		"file is missing": {map[string]string{"key": ""}, "cannot be read"},
	} {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			for file, text := range good {
				if changed, ok := c.change[file]; ok {
					if text = changed; text == "" {
						continue
					}
				}
				if err := os.WriteFile(filepath.Join(folder, file), []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			cfg, err := Parse(filepath.Join(folder, "site.toml"), []byte(site))
			if err == nil {
				err = cfg.Runnable()
			}
			said := ""
			if err != nil {
				said = err.Error()
			}
			// The site has no source, which is said in any case.
			if c.want != "" && !strings.Contains(said, c.want) || c.want == "" && strings.Contains(said, "notify") {
				t.Errorf("said: %s", said)
			}
			if strings.Contains(said, token) {
				t.Errorf("the fault shows a secret: %s", said)
			}
			if c.want == "" {
				n := &cfg.Notify[0]
				if n.URL != "https://hooks.example/"+token || n.Address() != "https://hooks.example" || n.Headers.Get("Authorization") == "" || len(n.Secret) != 1 || len(string(n.Secret[0])) != 24 || string(n.Password) != token {
					t.Errorf("read %+v", n)
				}
			}
		})
	}
}

// TestPlanNamesTargets: check says who will be told, and shows no more than the host.
func TestPlanNamesTargets(t *testing.T) {
	c, err := Load("testdata/good/notify.toml")
	if err != nil {
		t.Fatal(err)
	}
	var plan strings.Builder
	if err := c.WritePlan(&plan); err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{
		"Target on-call is told by webhook at https://hooks.example: floodback, flooded_start of mt from major; again each 4 h; a sign of life each 24 h; try it with dewgap notify test.\n",
		"Target second is told by mail at smtp://mail.example:587: all events from minor; when nobody has acknowledged for 15 min; again each 4 h; try it with dewgap notify test.\n",
		"Target alerts is told by alertmanager at http://127.0.0.1:9093: all events from minor; a sign of life each 24 h; try it with dewgap notify test.\n",
	} {
		if !strings.Contains(plan.String(), line) {
			t.Errorf("no %q in:\n%s", line, plan.String())
		}
	}
}
