package config

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

// TestTrap54NestedKeysAreRefusedBeforeTheyAreDecoded with little memory, however
// the nesting is written.
func TestTrap54NestedKeysAreRefusedBeforeTheyAreDecoded(t *testing.T) {
	const deep = 10_000
	dotted := strings.Repeat("a.", deep) + "a"
	for name, c := range map[string]struct{ text, want string }{
		"dotted key":        {dotted + " = 1\n", "nested deeper"},
		"spaced out":        {strings.Repeat("a . ", deep) + "a = 1\n", "nested deeper"},
		"quoted parts":      {strings.Repeat(`"a".`, deep) + "a = 1\n", "nested deeper"},
		"header":            {"[" + dotted + "]\n", "nested deeper"},
		"list header":       {"[[" + dotted + "]]\n", "nested deeper"},
		"inline tables":     {"x = " + strings.Repeat("{ a = ", deep) + "1" + strings.Repeat(" }", deep) + "\n", "nested deeper"},
		"lists":             {"x = " + strings.Repeat("[", deep) + strings.Repeat("]", deep) + "\n", "nested deeper"},
		"lists over lines":  {"x = " + strings.Repeat("[\n", deep), "nested deeper"},
		"key in a table":    {"x = { " + dotted + " = 1 }\n", "nested deeper"},
		"many keys":         {strings.Repeat("a = 1\n", maxKeys+1), "keys"},
		"many headers":      {strings.Repeat("[[a]]\n", maxKeys+1), "keys"},
		"much text":         {"# " + strings.Repeat("x", maxText), "bytes"},
		"just deep enough":  {"x = " + strings.Repeat("[", maxDepth) + strings.Repeat("]", maxDepth), ""},
		"within a text":     {`x = "` + dotted + strings.Repeat("[", deep) + `"`, ""},
		"within an escape":  {`x = "\"` + dotted + `"`, ""},
		"within a literal":  {`x = 'a\` + "'\ny = '" + dotted + "'", ""},
		"within long texts": {"x = \"\"\"\n" + dotted + "\n\"\"\"\ny = '''\n" + dotted + "'''", ""},
		"within a comment":  {"# " + dotted + "\n# " + dotted, ""},
		"many short keys":   {strings.Repeat("a.b = 1.5\n", 1000), ""},
	} {
		fault := tooMuch("site.toml", c.text)
		if (fault == nil) != (c.want == "") || fault != nil && !strings.Contains(fault.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, fault, c.want)
		}
		if c.want == "" {
			continue
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Parse("site.toml", []byte(c.text))
		runtime.ReadMemStats(&after)
		if used := after.TotalAlloc - before.TotalAlloc; err == nil || used > uint64(2*len(c.text)+1<<20) {
			t.Errorf("%s: %d bytes for a text of %d, %v", name, used, len(c.text), err)
		}
	}
}

// TestTrap54LargestAcceptedTextNeedsBoundedMemory: what the bounds let through is
// decoded in memory that a gateway has.
func TestTrap54LargestAcceptedTextNeedsBoundedMemory(t *testing.T) {
	var text strings.Builder
	for i := range maxKeys / (maxDepth + 1) {
		fmt.Fprintf(&text, "[k%d%s]\nx = 1\n", i, strings.Repeat(".a", maxDepth-1))
	}
	if fault := tooMuch("site.toml", text.String()); fault != nil {
		t.Fatal(fault)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if _, err := Parse("site.toml", []byte(text.String())); err == nil {
		t.Error("accepted")
	}
	runtime.ReadMemStats(&after)
	allocated := (after.TotalAlloc - before.TotalAlloc) >> 20
	t.Logf("%d MiB are allocated for %d KiB of text", allocated, text.Len()>>10)
	if allocated > 100 {
		t.Errorf("%d MiB are allocated in all, want 100 at most", allocated)
	}
}

func TestTrap54AFileWithoutEndIsNotReadToItsEnd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "site.toml")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(1 << 40); err != nil { // a file of zeros that takes no space
		t.Skip("no sparse files here: ", err)
	}
	f.Close()
	if _, err := Load(path); err == nil || !strings.Contains(err.Error(), "has more than") {
		t.Errorf("%v", err)
	}
}

// FuzzBounds: what the bounds let through is nested only as deep as a header, and
// dotted keys in as many inline tables, can be together.
func FuzzBounds(f *testing.F) {
	for _, text := range []string{
		"[a.b]\nx.y = { z.w = [1, 2] } # [[[\n", "x = \"\"\"\n\\\"\"\"\"\ny = '''a''''\n", "x = 'a\\'\ny = \"\\\\\"\n", "\"a.b\".'c.d' = 1.5\n",
		"x = \"\"\"\"\"\ny = [[[[[[[[[[[1]]]]]]]]]]]\n", "[a]\n'''\n.b.c\n",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		fault := tooMuch("site.toml", text)
		if fault != nil || len(text) > 4<<10 {
			return
		}
		var values map[string]any
		if _, err := toml.Decode(text, &values); err != nil {
			return
		}
		if deep, most := depthOf(values), maxDepth*(maxDepth+2); deep > most {
			t.Errorf("nested %d deep, want %d at most", deep, most)
		}
	})
}

func depthOf(v any) (deepest int) {
	switch v := v.(type) {
	case map[string]any:
		for _, below := range v {
			deepest = max(deepest, depthOf(below))
		}
		return deepest + 1
	case []map[string]any:
		for _, below := range v {
			deepest = max(deepest, depthOf(below))
		}
		return deepest + 1
	case []any:
		for _, below := range v {
			deepest = max(deepest, depthOf(below))
		}
		return deepest + 1
	}
	return 0
}
