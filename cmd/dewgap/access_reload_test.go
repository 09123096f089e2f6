package main

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/crypto/bcrypt"
)

// SIGHUP reads the web configuration again: a password that was taken away ends at
// once. With a fault in it the old one stays, and the page says so.
func TestSIGHUPTakesOverUsers(t *testing.T) {
	dir := t.TempDir()
	address, _ := silentDevice(t)
	site, web := filepath.Join(dir, "site.toml"), filepath.Join(dir, "web.yml")
	write := func(file, text string) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	user := func(name, password string) string {
		h, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("  %s: %s\n", name, h)
	}
	write(site, strings.Replace(fmt.Sprintf(silentSite, address), "data = \"data\"", "data = \"data\"\nweb_config = \"web.yml\"", 1))
	write(web, "basic_auth_users:\n"+user("anna", "apple")+user("watch", "walnut"))
	p := start(t, dir, "run", "--config", site)
	status := func(name, password string) int {
		q, err := http.NewRequestWithContext(t.Context(), http.MethodGet, p.page, nil)
		if err != nil {
			t.Fatal(err)
		}
		q.SetBasicAuth(name, password)
		w, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		w.Body.Close()
		return w.StatusCode
	}
	authenticated := strings.Replace(p.page, "://", "://watch:walnut@", 1)
	if code := status("anna", "apple"); code != 200 {
		t.Fatalf("anna is answered %d\n%s", code, &p.log)
	}
	write(web, "basic_auth_users:\n  anna: no-hash\n")
	p.cmd.Process.Signal(syscall.SIGHUP)
	await(t, authenticated+"api/v1/state", "the fault on the page", func(text string) bool { return strings.Contains(text, "web configuration") })
	if code := status("anna", "apple"); code != 200 {
		t.Errorf("anna is answered %d after a fault", code)
	}
	write(web, "basic_auth_users:\n"+user("watch", "walnut"))
	p.cmd.Process.Signal(syscall.SIGHUP)
	await(t, authenticated+"metrics", "the fault is gone", func(text string) bool {
		return strings.Contains(text, `dewgap_fault_active{fault="config",site="demo"} 0`)
	})
	if code := status("anna", "apple"); code != 401 {
		t.Errorf("anna is answered %d although she has left", code)
	}
}
