package main_test

import (
	"fmt"
	"go/build"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// importGraph is who imports what, without tests. Packages of ours are named by
// their path below the module; files of cmd/dewgap are nodes of their own, too.
type importGraph struct {
	module  string
	direct  map[string][]string // import paths as written
	modules []string            // that go.mod requires
}

// readImports reads the import clauses of every file below root.
func readImports(root string) (*importGraph, error) {
	mod, err := os.ReadFile(filepath.Join(root, "go.mod"))
	if err != nil {
		return nil, err
	}
	g := &importGraph{direct: map[string][]string{}}
	for line := range strings.Lines(string(mod)) {
		words := strings.Fields(line)
		if len(words) >= 2 && words[0] == "module" {
			g.module = words[1]
		} else if len(words) >= 2 && strings.HasPrefix(words[1], "v") {
			g.modules = append(g.modules, words[0])
		}
	}
	return g, filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name := d.Name(); file != root && (strings.HasPrefix(name, ".") || name == "testdata") {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return nil
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		name := filepath.ToSlash(rel)
		pkg := path.Dir(name)
		if g.direct[pkg] == nil {
			g.direct[pkg] = []string{}
		}
		for _, imp := range parsed.Imports {
			to, err := strconv.Unquote(imp.Path.Value)
			if err != nil {
				return err
			}
			if !slices.Contains(g.direct[pkg], to) {
				g.direct[pkg] = append(g.direct[pkg], to)
			}
			if pkg == "cmd/dewgap" {
				g.direct[name] = append(g.direct[name], to)
			}
		}
		return nil
	})
}

// packages returns the packages of ours in order.
func (g *importGraph) packages() []string {
	var out []string
	for name := range g.direct {
		if !strings.HasSuffix(name, ".go") {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// ours returns the package's path below the module, if it is one of ours.
func (g *importGraph) ours(path string) (string, bool) {
	return strings.CutPrefix(path, g.module+"/")
}

// matches reports whether a pattern means the package: itself, what is below
// "/...", everything for "...", or a package of a module.
func matches(pattern, name string) bool {
	if pattern == "..." || pattern == name {
		return true
	}
	if base, ok := strings.CutSuffix(pattern, "/..."); ok {
		return name == base || strings.HasPrefix(name, base+"/")
	}
	return strings.Contains(pattern, ".") && !strings.HasSuffix(pattern, ".go") && strings.HasPrefix(name, pattern+"/")
}

func matchesAny(patterns []string, name string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool { return matches(p, name) })
}

// exists reports whether a pattern means anything: a package or file of ours, a
// package of the standard library, or a module that go.mod requires.
func (g *importGraph) exists(pattern string) bool {
	for name := range g.direct {
		if matches(pattern, name) {
			return true
		}
	}
	if first, _, _ := strings.Cut(pattern, "/"); strings.Contains(first, ".") {
		return slices.ContainsFunc(g.modules, func(m string) bool { return m == pattern || strings.HasPrefix(m, pattern+"/v") })
	}
	info, err := os.Stat(filepath.Join(build.Default.GOROOT, "src", filepath.FromSlash(pattern)))
	return err == nil && info.IsDir()
}

func isStd(path string) bool {
	first, _, _ := strings.Cut(path, "/")
	return !strings.Contains(first, ".")
}

// short is how rules name an import path.
func (g *importGraph) short(path string) string {
	if name, ok := g.ours(path); ok {
		return name
	}
	return path
}

// checkPackages holds every package of ours to its rule.
func (g *importGraph) checkPackages(rules []packageRule) []string {
	var faults []string
	ruled := map[string]bool{}
	for _, r := range rules {
		ruled[r.from] = true
		if g.direct[r.from] == nil {
			faults = append(faults, r.from+" has a rule: there is no such package")
			continue
		}
		for _, may := range r.may {
			if !g.exists(may) {
				faults = append(faults, r.from+" may import "+may+": there is no such package")
			}
		}
		for _, to := range g.direct[r.from] {
			_, own := g.ours(to)
			if r.may != nil && (own || !isStd(to)) && !matchesAny(r.may, g.short(to)) && !matchesModule(r.may, to) {
				faults = append(faults, fmt.Sprintf("%s imports %s, and may not", r.from, g.short(to)))
			}
		}
	}
	for _, name := range g.packages() {
		if !ruled[name] {
			faults = append(faults, name+" has no rule")
		}
	}
	return faults
}

// matchesModule reports whether the package is of one of the modules, of
// whatever major version.
func matchesModule(modules []string, name string) bool {
	return slices.ContainsFunc(modules, func(m string) bool { return strings.Contains(m, ".") && strings.HasPrefix(name+"/", m+"/") })
}

// checkStd holds packages to the part of the standard library they may use. The
// first rule that means a package is its rule.
func (g *importGraph) checkStd(rules []packageRule, except []string) []string {
	var faults []string
	for _, name := range g.packages() {
		i := slices.IndexFunc(rules, func(r packageRule) bool { return matches(r.from, name) })
		if i < 0 || slices.Contains(except, name) {
			continue
		}
		for _, to := range g.direct[name] {
			if _, own := g.ours(to); !own && isStd(to) && !slices.Contains(rules[i].may, to) {
				faults = append(faults, fmt.Sprintf("%s imports %s, and may not", name, to))
			}
		}
	}
	for _, r := range rules {
		if !g.exists(r.from) {
			faults = append(faults, r.from+" has a rule: there is no such package")
		}
		for _, may := range r.may {
			if !g.exists(may) {
				faults = append(faults, r.from+" may import "+may+": there is no such package")
			}
		}
	}
	return faults
}

// checkBans follows imports over packages of ours.
func (g *importGraph) checkBans(bans []ban) []string {
	var faults []string
	for _, b := range bans {
		if b.reason == "" {
			faults = append(faults, "the ban for "+b.from+" has no reason")
		}
		if !g.exists(b.from) {
			faults = append(faults, "a ban for "+b.from+" is pointless: there is no such package")
		}
		for _, e := range b.except {
			if !g.exists(e) {
				faults = append(faults, "an exception of "+e+" is pointless: there is no such package")
			}
		}
		for _, not := range b.not {
			if !g.exists(not) {
				faults = append(faults, "a ban of "+not+" is pointless: there is no such package")
			}
		}
		for name := range g.direct {
			isFile := strings.HasSuffix(name, ".go")
			if isFile != strings.HasSuffix(b.from, ".go") || !matches(b.from, name) || matchesAny(b.except, name) {
				continue
			}
			for _, chain := range g.reach(name) {
				if end := chain[len(chain)-1]; matchesAny(b.not, end) && !matchesAny(b.not, chain[len(chain)-2]) {
					faults = append(faults, strings.Join(chain, " → ")+" is banned: "+b.reason)
				}
			}
		}
	}
	return faults
}

// reach returns the shortest chain from the package to everything it imports
// over packages of ours.
func (g *importGraph) reach(from string) [][]string {
	var chains [][]string
	seen := map[string]bool{from: true}
	for queue := [][]string{{from}}; len(queue) > 0; queue = queue[1:] {
		chain := queue[0]
		for _, to := range g.direct[chain[len(chain)-1]] {
			name := g.short(to)
			if seen[name] {
				continue
			}
			seen[name] = true
			next := append(slices.Clone(chain), name)
			chains = append(chains, next)
			if _, own := g.ours(to); own {
				queue = append(queue, next)
			}
		}
	}
	return chains
}

var quoted = regexp.MustCompile("`([^`]+)`")

// readImportTable reads the table of packages: rows of a Markdown table whose
// last column is "may import". Packages stand in backquotes; "everything" and
// "nothing of ours" are words.
func readImportTable(file string) ([]packageRule, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	var rows []packageRule
	inside := false
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		if !strings.HasPrefix(line, "|") {
			inside = false
			continue
		}
		cells := strings.Split(strings.Trim(line, "|"), "|")
		last := strings.TrimSpace(cells[len(cells)-1])
		switch {
		case last == "may import":
			inside = true
		case !inside || strings.HasPrefix(last, "--"):
		default:
			r := packageRule{may: names(last)}
			switch {
			case last == "everything":
				r.may = nil
			case last == "nothing of ours":
				r.may = nothing
			case len(r.may) == 0:
				return nil, fmt.Errorf("%s: %q names no package in backquotes", file, line)
			}
			for _, from := range names(cells[0]) {
				rows = append(rows, packageRule{from, r.may})
			}
		}
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("%s has no table whose last column is %q", file, "may import")
	}
	return rows, nil
}

func names(cell string) []string {
	var out []string
	for _, m := range quoted.FindAllStringSubmatch(cell, -1) {
		out = append(out, m[1])
	}
	return out
}

// compareTable holds the rows of DEVELOPERS.md and the rules together.
func compareTable(rows, rules []packageRule) []string {
	var faults []string
	for _, r := range rules {
		i := slices.IndexFunc(rows, func(x packageRule) bool { return x.from == r.from })
		if i < 0 {
			faults = append(faults, r.from+" is not in the table of DEVELOPERS.md")
			continue
		}
		got, want := slices.Sorted(slices.Values(rows[i].may)), slices.Sorted(slices.Values(r.may))
		if (rows[i].may == nil) != (r.may == nil) || !slices.Equal(got, want) {
			faults = append(faults, fmt.Sprintf("%s: DEVELOPERS.md gives %v, the rule %v", r.from, rows[i].may, r.may))
		}
	}
	for _, row := range rows {
		if !slices.ContainsFunc(rules, func(r packageRule) bool { return r.from == row.from }) {
			faults = append(faults, row.from+": DEVELOPERS.md has a row, there is no rule")
		}
	}
	return faults
}
