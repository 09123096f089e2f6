package main

import (
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"slices"
	"strings"
	"testing"
)

func sourceOf(t *testing.T, text string) *source {
	t.Helper()
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, "x.go", text, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Defs: map[*ast.Ident]types.Object{}, Uses: map[*ast.Ident]types.Object{}}
	conf := types.Config{Importer: importer.ForCompiler(set, "source", nil)}
	if _, err := conf.Check("x", set, []*ast.File{file}, info); err != nil {
		t.Fatal(err)
	}
	return &source{set, file, info, []byte(text)}
}

// found lists the mutants of a text as "before→after".
func found(t *testing.T, text string) []mutant {
	t.Helper()
	mutants, _, err := find("x", sourceOf(t, text))
	if err != nil {
		t.Fatal(err)
	}
	return mutants
}

func TestWhatCounts(t *testing.T) {
	for _, tt := range []struct {
		name, code string
		want       string // before→after, in order of place
	}{
		{"a number", "const a = 2.0", "2.0→3.0"},
		{"an integer stays one and changes", "const a, b, c = 1, 3, 4", "1→2 3→5 4→6"},
		{"zero becomes one", "var a, b = 0, 0.0", "0→1 0.0→1.0"},
		{"an exponent", "const a = int64(60e9)", "60e9→90000000000.0"},
		{"a small number", "const a = 1e-6", "1e-6→1.5e-06"},
		{"digits in groups", "const a = 13_000.0", "13_000.0→19500.0"},
		{"a minus", "const a = -0.5", "-→+ 0.5→0.75"},
		{"sums and comparisons", "func f(a, b, c float64) bool { return a+b-c < a }", "+→- -→+ <→>"},
		{"each comparison", "func f(a, b float64) (x, y, z bool) { return a <= b, a >= b, a > b }", "<=→>= >=→<= >→<"},
		{"assignments", "func f(a float64) float64 { a += a; a -= a; return a }", "+=→-= -=→+="},
		{"a weight of a table", "var t = []struct{ s string; w float64 }{{\"a\", 1.5}, {\"b\", -2}}", "1.5→2.25 1.5→-1.5 -→+ 2→3"},
		{"a field of a struct", "type s struct{ w float64 }; var t = s{w: 1.5}", "1.5→2.25"},

		{"a string is no number", "func f(a string) string { return a + \"1.5\" }", ""},
		{"an index", "func f(a []int, i int) int { return a[1] + a[i+1] + a[len(a)-2] }", "+→- +→-"},
		{"bounds", "func f(a []int) []int { return a[1 : len(a)-1] }", ""},
		{"a length", "var a [4]int; var b = [2]float64{}", ""},
		{"a length by name", "const n = 4; var a [n]int", ""},
		{"a length that is used besides", "const n = 4; var a [n]int; func f() int { return n }", "4→6"},
		{"a key of an array", "var a = [...]uint64{1: 10}", "10→15"},
		{"a capacity", "var a = make([]int, 0, 8)", ""},
		{"names in a row", "const ( a = iota + 1; b; c )", ""},
		{"nothing beside false", "func f() (float64, bool) { return 0, false }", ""},
		{"nothing beside an error", "import \"errors\"; func f() (float64, error) { return 0, errors.New(\"x\") }", ""},
		{"a zero beside true", "func f() (float64, bool) { return 0, true }", "0→1"},
		{"a count held against zero", "func f(n int) bool { return n > 0 }", ">→<"},
		{"a quantity held against zero", "func f(x float64) bool { return x > 0 }", ">→< 0→1"},
		{"the number of a type parameter", "func f[T ~int | ~float64](x T) T { return x - 1 }", "-→+ 1→2"},
		{"a sum of texts", "func f(a, b string) bool { return a+b < b }", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			all := found(t, "package x\n"+tt.code)
			slices.SortStableFunc(all, func(a, b mutant) int { return a.offset - b.offset })
			var got []string
			for _, m := range all {
				got = append(got, m.before+"→"+m.after)
			}
			if s := strings.Join(got, " "); s != tt.want {
				t.Errorf("found %s, want %s", s, tt.want)
			}
		})
	}
}

func TestMarkSkipsItsLineWithReason(t *testing.T) {
	text := "package x\nconst a = 1 //mutate:skip any bound does\n//mutate:skip the next line\nconst b = 2\nconst c = 3\n"
	mutants, skips, err := find("x", sourceOf(t, text))
	if err != nil {
		t.Fatal(err)
	}
	if len(mutants) != 1 || mutants[0].before != "3" {
		t.Errorf("found %v, want that of c alone", mutants)
	}
	want := []skipped{{"x.go", 2, "any bound does"}, {"x.go", 4, "the next line"}}
	if !slices.Equal(skips, want) {
		t.Errorf("skipped %v, want %v", skips, want)
	}
	if _, _, err := find("x", sourceOf(t, "package x\nconst a = 1 //mutate:skip\n")); err == nil || !strings.Contains(err.Error(), "x.go:2: //mutate:skip needs a reason") {
		t.Errorf("a mark without a reason: %v", err)
	}
}

func TestMutantIsApplied(t *testing.T) {
	text := "package x\n\nfunc f(a float64) bool { return a-0.5 <= 3 }\n"
	want := []string{"a+0.5 <= 3", "a-0.75 <= 3", "a-0.5 >= 3", "a-0.5 <= 5"}
	for _, m := range found(t, text) {
		got := string(m.apply([]byte(text)))
		i := slices.IndexFunc(want, func(w string) bool { return strings.Contains(got, "return "+w+" }") })
		if i < 0 {
			t.Fatalf("%s → %s made\n%s", m.before, m.after, got)
		}
		want = slices.Delete(want, i, i+1)
		if m.line != 3 {
			t.Errorf("%s → %s is in line %d, want 3", m.before, m.after, m.line)
		}
	}
	if len(want) > 0 {
		t.Errorf("nothing made %q", want)
	}
}

// A sample stays what it is when code that it does not touch comes and goes.
func TestSampleIsStable(t *testing.T) {
	var table strings.Builder
	for i := range 40 {
		table.WriteString("\t{" + strings.Repeat("1", i%7+1) + "." + strings.Repeat("5", i%5+1) + ", \"" + strings.Repeat("n", i) + "\"},\n")
	}
	head := "package x\ntype row struct { w float64; s string }\n"
	before := head + "var t = []row{\n" + table.String() + "}\nfunc g(a int) int { return a + 1 }\n"
	after := head + "func h(a int) int { return a - 3 }\nvar t = []row{\n{9.5, \"new\"},\n" + table.String() + "}\nfunc g(a int) int { return a + 1 }\n"
	keys := func(text string, n int) map[string]bool {
		out := map[string]bool{}
		for _, m := range sample(found(t, text), 1, n) {
			out[m.key] = true
		}
		return out
	}
	old, now := keys(before, 20), keys(after, 20)
	lost := 0
	for k := range old {
		if !now[k] {
			lost++
		}
	}
	// Four mutants are new; each can push one out of the sample.
	if len(old) != 20 || lost > 4 {
		t.Errorf("a sample of %d lost %d mutants by unrelated code, want 4 at most", len(old), lost)
	}
	if other := sample(found(t, before), 2, 20); slices.EqualFunc(sample(found(t, before), 1, 20), other, func(a, b mutant) bool { return a.key == b.key }) {
		t.Error("two seeds gave the same sample")
	}
}

func TestShareCountsWhatCompiled(t *testing.T) {
	results := []result{{verdict: noticed}, {verdict: noticed}, {verdict: timedOut}, {verdict: survived}, {verdict: broken}}
	if !report(results, 75) {
		t.Error("three of four are less than 75 %")
	}
	if report(results, 76) {
		t.Error("three of four are 76 %")
	}
	if report([]result{{verdict: broken}}, 0) {
		t.Error("a run in which nothing compiled passed")
	}
}
