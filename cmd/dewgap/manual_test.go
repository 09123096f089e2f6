package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// printed returns what a command writes to standard output.
func printed(t *testing.T, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run(t.Context(), args, console{Out: &out, Err: &errs}); code != 0 {
		t.Fatalf("%v: status %d, %s", args, code, &errs)
	}
	return out.String()
}

// The page names every command and its options, and holds no line that groff
// would take for a request of its own.
func TestManualPage(t *testing.T) {
	page := printed(t, "manual", "man")
	for _, want := range []string{
		".TH \"DEWGAP\" \"1\"", ".SH \"NAME\"", ".SS \"dewgap replay\"", ".SS \"dewgap report commissioning\"", `\-\-states`, `\-\-zone`, ".SH \"EXIT STATUS\"",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if strings.Contains(page, `dewgap manual`) {
		t.Error("the page shows a hidden command")
	}
	known := map[string]bool{"TH": true, "SH": true, "SS": true, "PP": true, "TP": true, "nf": true, "fi": true}
	for i, line := range strings.Split(page, "\n") {
		if name, request := strings.CutPrefix(line, "."); request && !known[strings.Fields(name)[0]] {
			t.Errorf("line %d is no macro of man(7): %q", i+1, line)
		}
	}
}

// The completion is judged by bash itself.
func TestBashCompletion(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		if os.Getenv("DEWGAP_PEERS") != "" {
			t.Fatal(err)
		}
		t.Skip("needs bash")
	}
	file := filepath.Join(t.TempDir(), "dewgap")
	if err := os.WriteFile(file, []byte(printed(t, "manual", "bash")), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ line, want string }{
		{"dewgap rep", "replay report"},
		{"dewgap report ", "commissioning inspection --help"},
		{"dewgap replay --st", "--states"},
		{"dewgap replay --config site.toml --ev", "--events"},
		{"dewgap simulate --via m", "mixed mqtt"},
		{"dewgap report commissioning --pa", "--paper"},
		{"dewgap sat R448A --su", "--superheat"},
		{"dewgap replay night", ""},
		{"dewgap man", ""},
	} {
		const complete = `source "$0"; read -ra COMP_WORDS <<<"$1"; [[ $1 == *" " ]] && COMP_WORDS+=(""); COMP_CWORD=$((${#COMP_WORDS[@]} - 1)); _dewgap; echo "${COMPREPLY[*]}"`
		out, err := exec.CommandContext(t.Context(), bash, "-c", complete, file, c.line).CombinedOutput()
		if got := strings.TrimSpace(string(out)); err != nil || got != c.want {
			t.Errorf("%q: got %q, %v, want %q", c.line, got, err, c.want)
		}
	}
}
