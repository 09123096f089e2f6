package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// listed is what go list prints of a package.
type listed struct {
	Dir, ImportPath, Export string
	GoFiles                 []string
	DepOnly                 bool
}

// load type-checks the packages and lists their mutants, file by file.
func load(dirs []string) ([]mutant, []skipped, error) {
	args := []string{"list", "-export", "-deps", "-json=Dir,ImportPath,Export,GoFiles,DepOnly"}
	out, err := output(append(args, dirs...)...)
	if err != nil {
		return nil, nil, err
	}
	exports := map[string]string{}
	var packages []listed
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, nil, err
		}
		exports[p.ImportPath] = p.Export
		if !p.DepOnly {
			packages = append(packages, p)
		}
	}
	var mutants []mutant
	var skips []skipped
	for _, p := range packages {
		sources, err := check(&p, exports)
		if err != nil {
			return nil, nil, err
		}
		for _, src := range sources {
			m, s, err := find(p.ImportPath, src)
			if err != nil {
				return nil, nil, err
			}
			mutants, skips = append(mutants, m...), append(skips, s...)
		}
	}
	return mutants, skips, nil
}

func check(p *listed, exports map[string]string) ([]*source, error) {
	set := token.NewFileSet()
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Defs: map[*ast.Ident]types.Object{}, Uses: map[*ast.Ident]types.Object{}}
	var sources []*source
	var files []*ast.File
	for _, name := range p.GoFiles {
		path := filepath.Join(p.Dir, name)
		text, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		file, err := parser.ParseFile(set, path, text, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		files = append(files, file)
		sources = append(sources, &source{set, file, info, text})
	}
	conf := types.Config{Importer: importer.ForCompiler(set, "gc", func(path string) (io.ReadCloser, error) {
		if exports[path] == "" {
			return nil, fmt.Errorf("no export data of %s", path)
		}
		return os.Open(exports[path])
	})}
	if _, err := conf.Check(p.ImportPath, set, files, info); err != nil {
		return nil, fmt.Errorf("%s: %w", p.ImportPath, err)
	}
	return sources, nil
}

// output runs the go command and returns what it prints.
func output(args ...string) ([]byte, error) {
	cmd := exec.Command("go", args...)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go %s: %w\n%s", strings.Join(args, " "), err, stderr.String())
	}
	return out, nil
}
