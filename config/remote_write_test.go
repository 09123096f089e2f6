package config

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestSecretsOfReceivers: what is secret is read from files, and neither a fault,
// the plan nor a printed configuration shows it.
func TestSecretsOfReceivers(t *testing.T) {
	site := "[site]\nname = \"demo\"\n[[suction_group]]\nname = \"mt\"\nrefrigerant = \"R448A\"\n[[suction_group.compressor]]\nname = \"c1\"\n[[remote_write]]\nname = \"central\"\nurl_file = \"url\"\nheader_file = \"headers\"\nusername = \"demo\"\npassword_file = \"password\"\nheaders = [\"X-Scope-OrgID: stores\"]\n"
	const token = "tok3n-of-nobody"
	for name, c := range map[string]struct{ file, text, want string }{
		"all right":      {},
		"another scheme": {"url", "gopher://" + token, "is no address for remote write"},
		"header":         {"headers", token, "no header"},
		"header of ours": {"headers", "Content-Encoding: " + token, "belongs to the protocol"},
		"empty password": {"password", "\n", "is empty"},
		"no file":        {"headers", "", "cannot be read"},
	} {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			files := map[string]string{"url": "https://metrics.example/" + token + "\n", "headers": "Authorization: Bearer " + token + "\n", "password": token + "\n"}
			if c.file != "" {
				files[c.file] = c.text
			}
			for file, text := range files {
				if text == "" {
					continue
				}
				if err := os.WriteFile(filepath.Join(folder, file), []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			cfg, err := Parse(filepath.Join(folder, "site.toml"), []byte(site))
			if err == nil {
				err = cfg.Runnable()
			}
			said := fmt.Sprint(err)
			// The site has no source, which is said in any case.
			if c.want != "" && !strings.Contains(said, c.want) || c.want == "" && strings.Contains(said, "remote_write") {
				t.Errorf("said: %s", said)
			}
			if strings.Contains(said, token) {
				t.Errorf("the fault shows a secret: %s", said)
			}
			if c.want != "" {
				return
			}
			r := &cfg.RemoteWrite[0]
			if r.URL != "https://metrics.example/"+token || r.Headers.Get("Authorization") != "Bearer "+token || r.Headers.Get("X-Scope-OrgID") != "stores" || string(r.Password) != token || r.Username != "demo" {
				t.Errorf("read %q", r.Name)
			}
			var plan strings.Builder
			if err := cfg.WritePlan(&plan); err != nil {
				t.Fatal(err)
			}
			if line := "Metrics go to central at https://metrics.example by remote write, a sample each 30 s.\n"; !strings.Contains(plan.String(), line) || strings.Contains(plan.String(), token) {
				t.Errorf("no %q in:\n%s", line, plan.String())
			}
		})
	}
}
