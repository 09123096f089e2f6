package firstlook

import (
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

func TestWithKey(t *testing.T) {
	for _, c := range []struct{ line, key, value, want string }{
		{`p = { modbus = "a", unit = "bara" }`, "unit", `"barg"`, `p = { modbus = "a", unit = "barg" }`},
		{`p = { modbus = "a", unit="bara", unit_id = 1 }`, "unit", `"barg"`, `p = { modbus = "a", unit = "barg", unit_id = 1 }`},
		{`  p = { unit_id = 1, modbus = "a" } # header`, "unit", `"barg"`, `  p = { unit_id = 1, modbus = "a", unit = "barg" } # header`},
		{`p = { modbus = "unit = 3", scale = 0.1 }`, "scale", `1`, `p = { modbus = "unit = 3", scale = 1 }`},
		{`p = { sentinel = [1, 2], scale = 0.1 }`, "sentinel", `[0xFFFF]`, `p = { sentinel = [0xFFFF], scale = 0.1 }`},
		{`p = { a = "}", verified = { on = "2026-01-01" }, scale = 0.1 }`, "verified", `{ on = "2026-11-30" }`, `p = { a = "}", verified = { on = "2026-11-30" }, scale = 0.1 }`},
		{`p = { a = "#" } # a { brace`, "b", `1`, `p = { a = "#", b = 1 } # a { brace`},
		{`[suction_group.suction_pressure]`, "unit", `"barg"`, `unit = "barg"`},
		{``, "unit", `"barg"`, `unit = "barg"`},
	} {
		if got := WithKey(c.line, c.key, c.value); got != c.want {
			t.Errorf("WithKey(%q, %q, %q)\n got %q\nwant %q", c.line, c.key, c.value, got, c.want)
		}
	}
}

// FuzzWithKey: whatever line of a valid file is changed, the result is valid and
// has the key with its new value.
func FuzzWithKey(f *testing.F) {
	f.Add(`{ modbus = "a", unit = "bara" }`)
	f.Add(`{ a = "}", verified = { on = "2026-01-01", unit = "x" }, scale = 0.1 }`)
	f.Add(`{ a = 'it''s', b = [1, 2], c = {d = "e, unit = 4"} }`)
	f.Fuzz(func(t *testing.T, table string) {
		line := "p = " + table
		var before, after map[string]any
		if strings.ContainsAny(line, "\n\r") {
			return
		}
		if _, err := toml.Decode(line, &before); err != nil {
			return
		}
		inner, ok := before["p"].(map[string]any)
		// A table with unit inside one of its own tables or texts before its own unit
		// is not what an input looks like.
		if !ok || len(inner) == 0 || strings.Count(table, "unit") > 1 || strings.Contains(table, "unit") && inner["unit"] == nil || strings.ContainsAny(table, `\'`) || strings.Contains(table, `"""`) {
			return
		}
		if _, isText := inner["unit"].(string); !isText && inner["unit"] != nil {
			return
		}
		got := WithKey(line, "unit", `"barg"`)
		if _, err := toml.Decode(got, &after); err != nil {
			t.Fatalf("%q became %q: %v", line, got, err)
		}
		if after["p"].(map[string]any)["unit"] != "barg" {
			t.Fatalf("%q became %q", line, got)
		}
	})
}
