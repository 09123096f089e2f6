package output

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestTrap52AnOutputIsNoInput: by the same path, another path, a hard or a
// symbolic link.
func TestTrap52AnOutputIsNoInput(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	for _, name := range []string{"in.csv", "other.csv"} {
		if err := os.WriteFile(name, []byte("time\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.MkdirAll("sub", 0o755); err != nil {
		t.Fatal(err)
	}
	for _, link := range []struct {
		make     func(old, new string) error
		old, new string
	}{
		{os.Link, "in.csv", "hard.csv"}, {os.Symlink, "in.csv", "soft.csv"}, {os.Symlink, "soft.csv", "softer.csv"},
		{os.Symlink, dir, "sub/up"}, {os.Symlink, "new.csv", "dangling.csv"}, {os.Symlink, "loop", "loop"},
	} {
		if err := link.make(link.old, link.new); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct {
		outputs []string
		force   bool
		want    string // part of the error; empty: accepted
	}{
		"the input":                {[]string{"in.csv"}, true, "which this command reads"},
		"absolute":                 {[]string{filepath.Join(dir, "in.csv")}, true, "which this command reads"},
		"round about":              {[]string{"sub/../in.csv"}, true, "which this command reads"},
		"hard link":                {[]string{"hard.csv"}, true, "which this command reads"},
		"symbolic link":            {[]string{"soft.csv"}, true, "which this command reads"},
		"two links":                {[]string{"softer.csv"}, true, "which this command reads"},
		"linked directory":         {[]string{"sub/up/in.csv"}, true, "which this command reads"},
		"the second output":        {[]string{"new.csv", "hard.csv"}, true, "which this command reads"},
		"two outputs in one":       {[]string{"new.csv", "sub/../new.csv"}, true, "choose two files"},
		"two by a link to nothing": {[]string{"new.csv", "dangling.csv"}, true, "choose two files"},
		"an existing file":         {[]string{"other.csv"}, false, "exists: choose another name, or replace it with --force"},
		"forced":                   {[]string{"other.csv"}, true, ""},
		"a new one":                {[]string{"new.csv"}, false, ""},
		"not given":                {[]string{"", ""}, false, ""},
		"a directory":              {[]string{"sub"}, true, "is a directory"},
		"a loop of links":          {[]string{"loop"}, true, "--o0"},
		"nowhere":                  {[]string{"/dev/null", "/dev/null"}, false, ""},
	} {
		files := Files{Inputs: []string{"", "in.csv"}, Force: c.force}
		for i, path := range c.outputs {
			files.Outputs = append(files.Outputs, File{"--o" + string(rune('0'+i)), path})
		}
		err := files.Check()
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	if _, err := (Files{}).Create("other.csv"); err == nil {
		t.Error("a file that has appeared since the check was replaced")
	}
	if data, err := os.ReadFile("in.csv"); err != nil || string(data) != "time\n" {
		t.Errorf("the input holds %q, %v", data, err)
	}
}
