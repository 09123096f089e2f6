package analyze

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Analysis and alerts take time from rows. What they may import is a rule of
// cmd/dewgap/imports_test.go.
var (
	// clockwork is what package time must not be used for.
	clockwork = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}
	// clockAllowed are files that keep an outside promise (delivery, retries):
	// never the analysis of a row.
	clockAllowed = []string{}
)

func TestAnalysisAndAlertArePure(t *testing.T) {
	for _, root := range []string{".", "../alert"} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.IsDir() && (d.Name() == "testdata" || d.Name() == "internal" && path != root) {
				return filepath.SkipDir // generators run outside; they are not part of the program
			}
			if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return nil
			}
			for _, fault := range impurities(t, path, root == "../alert") {
				t.Error(fault)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

func impurities(t *testing.T, path string, alert bool) []string {
	t.Helper()
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, path, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var faults []string
	if alert && slices.Contains(clockAllowed, filepath.Base(path)) {
		return faults
	}
	ast.Inspect(file, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := s.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(clockwork, s.Sel.Name) {
				faults = append(faults, set.Position(s.Pos()).String()+": uses time."+s.Sel.Name)
			}
		}
		if g, ok := n.(*ast.GoStmt); ok && !alert {
			faults = append(faults, set.Position(g.Pos()).String()+": starts a goroutine")
		}
		return true
	})
	return faults
}

// The test itself can fail: it finds what it looks for.
func TestImpurityIsFound(t *testing.T) {
	faults := impurities(t, "testdata/impure.go.txt", false)
	if len(faults) != 2 {
		t.Errorf("found %d impurities in the example, want 2: %q", len(faults), faults)
	}
}
