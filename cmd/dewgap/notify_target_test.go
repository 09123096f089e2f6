package main

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestNotifyTest tries targets as a person does before trusting them.
func TestNotifyTest(t *testing.T) {
	status, asked := 204, ""
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = r.Header.Get("Webhook-Id")
		w.WriteHeader(status)
	}))
	defer server.Close()
	folder := t.TempDir()
	site := filepath.Join(folder, "site.toml")
	begin := "[site]\nname = \"demo\"\n[[suction_group]]\nname = \"mt\"\nrefrigerant = \"R448A\"\n[[suction_group.compressor]]\nname = \"c1\"\n"
	targets := fmt.Sprintf("[[notify]]\nname = \"on-call\"\nkind = \"webhook\"\nurl = %q\n[[notify]]\nname = \"sealed\"\nkind = \"webhook\"\nurl_file = \"missing\"\n", server.URL)
	for _, c := range []struct {
		name, text, target string
		status, code       int
		said               string
	}{
		{"taken", begin + targets, "on-call", 204, 0, "target on-call (webhook, http://127.0.0.1:"},
		{"refused", begin + targets, "on-call", 404, 1, "has not taken the test: http://127.0.0.1:"},
		{"no such target", begin + targets, "oncall", 204, 2, `did you mean "on-call"?`},
		{"a secret is missing", begin + targets, "sealed", 204, 1, "missing cannot be read"},
		{"nobody is to be told", begin, "on-call", 204, 1, "add [[notify]]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if err := os.WriteFile(site, []byte(c.text), 0o600); err != nil {
				t.Fatal(err)
			}
			status, asked = c.status, ""
			var out bytes.Buffer
			code := run(context.Background(), []string{"notify", "test", c.target, "--config", site}, console{Out: &out, Err: &out})
			if code != c.code || !strings.Contains(out.String(), c.said) {
				t.Errorf("%d: %s", code, out.String())
			}
			if told := strings.HasPrefix(asked, "test-"); told != (c.target == "on-call" && c.text != begin) {
				t.Errorf("the target saw %q", asked)
			}
		})
	}
}
