package main

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"math"
	"slices"
	"strconv"
	"strings"
)

// mutant is one change of one place in a source file.
type mutant struct {
	pkg, file     string // import path; path of the file as the parser knows it
	line          int
	offset        int    // of the first byte that changes
	before, after string // source text
	text          string // the line of the file, trimmed
	key           string // names the place, whatever stands around it
}

// skipped is a line that a comment takes out, with its reason.
type skipped struct {
	file   string
	line   int
	reason string
}

// skipMark takes the mutants of its line, or of the line below when it stands
// alone, out of the run. The report prints the reason, and a mark without one
// is an error.
const skipMark = "//mutate:skip"

// source is one type-checked file.
type source struct {
	set  *token.FileSet
	file *ast.File
	info *types.Info
	text []byte
}

// find lists the mutants of a file in order of place, and what its marks skip.
func find(pkg string, src *source) ([]mutant, []skipped, error) {
	f := &finder{pkg: pkg, source: src, sizes: sizeConstants(src)}
	marks, err := f.marks()
	if err != nil {
		return nil, nil, err
	}
	for _, decl := range src.file.Decls {
		f.decl(decl)
	}
	seen := map[string]int{}
	kept := f.found[:0]
	for _, m := range f.found {
		seen[m.key]++
		m.key += "#" + strconv.Itoa(seen[m.key])
		if _, skip := marks[m.line]; !skip {
			kept = append(kept, m)
		}
	}
	var out []skipped
	for line, reason := range marks {
		out = append(out, skipped{f.set.Position(src.file.Pos()).Filename, line, reason})
	}
	slices.SortFunc(out, func(a, b skipped) int { return cmp.Compare(a.line, b.line) })
	return kept, out, nil
}

type finder struct {
	pkg string
	*source
	sizes map[types.Object]bool
	name  string // of the declaration
	found []mutant
}

// marks returns the reasons by line.
func (f *finder) marks() (map[int]string, error) {
	out := map[int]string{}
	for _, group := range f.file.Comments {
		for _, c := range group.List {
			reason, ok := strings.CutPrefix(c.Text, skipMark)
			if !ok {
				continue
			}
			at := f.set.Position(c.Pos())
			if reason = strings.TrimSpace(reason); reason == "" {
				return nil, fmt.Errorf("%s:%d: %s needs a reason behind it", at.Filename, at.Line, skipMark)
			}
			line := at.Line
			if start := at.Offset - (at.Column - 1); strings.TrimSpace(string(f.text[start:at.Offset])) == "" {
				line++
			}
			out[line] = reason
		}
	}
	return out, nil
}

func (f *finder) decl(decl ast.Decl) {
	switch d := decl.(type) {
	case *ast.FuncDecl:
		f.name = d.Name.Name
		if d.Recv != nil {
			f.name = types.ExprString(d.Recv.List[0].Type) + "." + f.name
		}
		if d.Body != nil {
			f.walk(d.Body, nil)
		}
	case *ast.GenDecl:
		if d.Tok != token.CONST && d.Tok != token.VAR {
			return
		}
		for _, spec := range d.Specs {
			s := spec.(*ast.ValueSpec)
			if f.countsNames(s) || len(s.Names) == 1 && f.sizes[f.info.Defs[s.Names[0]]] {
				continue
			}
			f.name = s.Names[0].Name
			for _, v := range s.Values {
				f.walk(v, nil)
			}
		}
	}
}

// countsNames reports whether iota numbers the names: another number for a
// name means nothing.
func (f *finder) countsNames(s *ast.ValueSpec) bool {
	found := false
	for _, v := range s.Values {
		ast.Inspect(v, func(n ast.Node) bool {
			id, ok := n.(*ast.Ident)
			found = found || ok && id.Name == "iota"
			return !found
		})
	}
	return found
}

// walk visits an expression or statement below its parents.
func (f *finder) walk(node ast.Node, parents []ast.Node) {
	ast.Inspect(node, func(n ast.Node) bool {
		if n == nil {
			parents = parents[:len(parents)-1]
			return true
		}
		if f.isSize(n, parents) {
			return false
		}
		f.visit(n, parents)
		parents = append(parents, n)
		return true
	})
}

// isSize reports whether a number there is an index or a size: another one
// reads the wrong element or makes another capacity, and shows nothing about
// the numbers of the analysis.
func (f *finder) isSize(n ast.Node, parents []ast.Node) bool {
	switch n := n.(type) {
	case *ast.ArrayType:
		return true
	case *ast.CallExpr:
		id, ok := n.Fun.(*ast.Ident)
		return ok && (id.Name == "make" || id.Name == "panic")
	case *ast.ImportSpec:
		return true
	}
	if len(parents) == 0 {
		return false
	}
	switch p := parents[len(parents)-1].(type) {
	case *ast.IndexExpr:
		return p.Index == n
	case *ast.SliceExpr:
		return p.X != n
	case *ast.KeyValueExpr:
		return p.Key == n
	}
	return false
}

// isNothing reports a zero that is no quantity: one that is returned beside false
// or an error, and one that a count or a time is held against with < or >,
// where flipping the sign is the mutant that means something.
func (f *finder) isNothing(n *ast.BasicLit, parents []ast.Node) bool {
	if !isZero(n.Value) || len(parents) == 0 {
		return false
	}
	switch p := parents[len(parents)-1].(type) {
	case *ast.ReturnStmt:
		if len(p.Results) < 2 {
			return false
		}
		switch last := p.Results[len(p.Results)-1].(type) {
		case *ast.Ident:
			return last.Name == "false" || last.Name == "err"
		case *ast.CallExpr:
			return f.info.TypeOf(last) == types.Universe.Lookup("error").Type()
		}
	case *ast.BinaryExpr:
		switch p.Op {
		case token.LSS, token.GTR, token.LEQ, token.GEQ:
			return !f.float(n)
		}
	}
	return false
}

func (f *finder) visit(n ast.Node, parents []ast.Node) {
	switch n := n.(type) {
	case *ast.BasicLit:
		if n.Kind != token.INT && n.Kind != token.FLOAT || f.isNothing(n, parents) {
			return
		}
		after, ok := f.scaled(n)
		if !ok {
			return
		}
		f.add("number", n.Pos(), n.Value, after, parents)
		if len(parents) > 0 && !isZero(n.Value) {
			_, element := parents[len(parents)-1].(*ast.CompositeLit)
			if element && f.float(n) {
				f.add("sign", n.Pos(), n.Value, "-"+n.Value, parents)
			}
		}
	case *ast.UnaryExpr:
		if n.Op == token.SUB && f.number(n.X) {
			f.add("sign", n.OpPos, "-", "+", parents)
		}
	case *ast.BinaryExpr:
		if to, ok := flipped[n.Op]; ok && f.number(n.X) {
			f.add("sign", n.OpPos, n.Op.String(), to.String(), parents)
		}
	case *ast.AssignStmt:
		if to, ok := flipped[n.Tok]; ok && f.number(n.Lhs[0]) {
			f.add("sign", n.TokPos, n.Tok.String(), to.String(), parents)
		}
	}
}

var flipped = map[token.Token]token.Token{
	token.ADD: token.SUB, token.SUB: token.ADD, token.ADD_ASSIGN: token.SUB_ASSIGN, token.SUB_ASSIGN: token.ADD_ASSIGN,
	token.LSS: token.GTR, token.GTR: token.LSS, token.LEQ: token.GEQ, token.GEQ: token.LEQ,
}

// scaled returns the literal times 1.5, and 1 for 0. An integer stays one and
// always changes.
func (f *finder) scaled(n *ast.BasicLit) (string, bool) {
	v := constant.MakeFromLiteral(n.Value, n.Kind, 0)
	if v.Kind() == constant.Unknown {
		return "", false
	}
	if n.Kind == token.INT {
		x, exact := constant.Int64Val(v)
		if !exact || x > math.MaxInt64/2 {
			return "", false
		}
		return strconv.FormatInt(max((3*x+1)/2, x+1), 10), true
	}
	x, _ := constant.Float64Val(v)
	if x == 0 {
		return "1.0", true
	}
	after := strconv.FormatFloat(1.5*x, 'g', 12, 64)
	if !strings.ContainsAny(after, ".e") {
		after += ".0"
	}
	return after, true
}

func isZero(literal string) bool {
	v, err := strconv.ParseFloat(literal, 64)
	return err == nil && v == 0
}

func (f *finder) basic(x ast.Expr) types.BasicInfo {
	t := f.info.TypeOf(x)
	if t == nil {
		return 0
	}
	// The type of a type parameter is what it is made of.
	if p, ok := t.(*types.TypeParam); ok {
		if u, ok := p.Constraint().Underlying().(*types.Interface); ok && u.NumEmbeddeds() > 0 {
			return types.IsFloat
		}
	}
	if b, ok := t.Underlying().(*types.Basic); ok {
		return b.Info()
	}
	return 0
}

func (f *finder) number(x ast.Expr) bool { return f.basic(x)&types.IsNumeric != 0 }
func (f *finder) float(x ast.Expr) bool  { return f.basic(x)&types.IsFloat != 0 }

func (f *finder) add(kind string, pos token.Pos, before, after string, parents []ast.Node) {
	at := f.set.Position(pos)
	// The key holds what the place is, not where it is, so that a change
	// elsewhere leaves the sample as it was.
	around := ""
	for _, p := range slices.Backward(parents) {
		if lit, ok := p.(*ast.CompositeLit); ok {
			around = string(f.text[f.set.Position(lit.Pos()).Offset:f.set.Position(lit.End()).Offset])
			break
		}
	}
	start := at.Offset - (at.Column - 1)
	line, _, _ := strings.Cut(string(f.text[start:]), "\n")
	f.found = append(f.found, mutant{pkg: f.pkg, file: at.Filename, line: at.Line, offset: at.Offset, before: before, after: after,
		text: strings.Join(strings.Fields(line), " "), key: strings.Join([]string{f.pkg, f.name, kind, before, after, around}, "|")})
}

// sizeConstants returns the constants that are lengths of arrays alone.
func sizeConstants(src *source) map[types.Object]bool {
	sizes, other := map[types.Object]bool{}, map[types.Object]bool{}
	var inSize func(n ast.Node, size bool)
	inSize = func(n ast.Node, size bool) {
		ast.Inspect(n, func(c ast.Node) bool {
			switch c := c.(type) {
			case *ast.ArrayType:
				if c.Len != nil && !size {
					inSize(c.Len, true)
					inSize(c.Elt, false)
					return false
				}
			case *ast.Ident:
				if obj, ok := src.info.Uses[c].(*types.Const); ok {
					if size {
						sizes[obj] = true
					} else {
						other[obj] = true
					}
				}
			}
			return true
		})
	}
	inSize(src.file, false)
	for obj := range other {
		delete(sizes, obj)
	}
	return sizes
}

// order is the place of the mutant in the shuffle of a seed.
func (m *mutant) order(seed uint64) uint64 {
	sum := sha256.Sum256([]byte(fmt.Sprintf("%d|%s", seed, m.key)))
	return binary.BigEndian.Uint64(sum[:])
}

// sample returns n mutants, or all when n is 0, in the order of the shuffle.
func sample(all []mutant, seed uint64, n int) []mutant {
	out := slices.Clone(all)
	slices.SortFunc(out, func(a, b mutant) int {
		return cmp.Or(cmp.Compare(a.order(seed), b.order(seed)), cmp.Compare(a.key, b.key))
	})
	if n > 0 && n < len(out) {
		out = out[:n]
	}
	return out
}

// apply returns the file's text with the mutant in it.
func (m *mutant) apply(text []byte) []byte {
	return slices.Concat(text[:m.offset], []byte(m.after), text[m.offset+len(m.before):])
}
