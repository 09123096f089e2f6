package analyze

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// Analysis and alert take time from rows and touch nothing outside. What they
// may import is a list, so that something new is a decision.
var (
	pureStd = []string{
		"bytes", "cmp", "embed", "encoding/binary", "encoding/json", "errors", "fmt", "hash", "hash/crc32", "io",
		"iter", "maps", "math", "math/bits", "slices", "sort", "strconv", "strings", "sync", "sync/atomic", "time",
		"unicode", "unicode/utf8",
		// A table of a refrigerant is text.
		"bufio", "encoding/csv",
	}
	// clockwork is what package time must not be used for.
	clockwork = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}
	// alertExtra is what the journal, the ledger and the notifiers may use besides.
	alertExtra = []string{
		"os", "io/fs", "path/filepath", "path", "context", "text/template", "encoding/base64", "crypto/sha256", "encoding/hex",
		"github.com/google/renameio/v2", "golang.org/x/sys/unix", "syscall", "math/rand/v2", "compress/gzip", "dewgap/analyze",
	}
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
	for _, imp := range file.Imports {
		name, _ := strconv.Unquote(imp.Path.Value)
		ok := slices.Contains(pureStd, name) || strings.HasPrefix(name, "dewgap/analyze/") || alert && slices.Contains(alertExtra, name)
		if !ok {
			faults = append(faults, set.Position(imp.Pos()).String()+": imports "+name)
		}
	}
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
	if len(faults) != 4 {
		t.Errorf("found %d impurities in the example, want 4: %q", len(faults), faults)
	}
}
