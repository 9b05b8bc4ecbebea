package services_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"strconv"
	"strings"
)

// module is the path of our Go module.
const module = "github.com/longlead/longlead"

// tree is what the rules look at: every Go file of the module and every migration. Folders that the go command passes over
// (testdata, names that start with a dot or an underscore) and folders with a go.mod of their own are left out.
type tree struct {
	sources    []source
	migrations map[string]string
	protos     []string
}

// source is one Go file. dir and path use slashes and start at the module's root.
type source struct {
	path, dir, name string
	file            *ast.File
	places          *token.FileSet
	lines           int
	test, generated bool
	imports         []string
}

func (s source) lineOf(p token.Pos) int { return s.places.Position(p).Line }

// loadTree reads the module at the root of fsys.
func loadTree(fsys fs.FS) (tree, error) {
	t := tree{migrations: map[string]string{}}
	err := fs.WalkDir(fsys, ".", func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir():
			if p != "." && leftOut(fsys, p) {
				return fs.SkipDir
			}
			return nil
		case path.Ext(p) == ".go":
			return t.addSource(fsys, p)
		case path.Dir(p) == "migrations" && path.Ext(p) == ".sql":
			text, err := fs.ReadFile(fsys, p)
			t.migrations[p] = string(text)
			return err
		case strings.HasPrefix(p, "proto/longlead/") && path.Ext(p) == ".proto":
			t.protos = append(t.protos, strings.TrimPrefix(p, "proto/"))
		}
		return nil
	})
	return t, err
}

func leftOut(fsys fs.FS, dir string) bool {
	base := path.Base(dir)
	if base == "testdata" || base == "node_modules" || strings.HasPrefix(base, ".") || strings.HasPrefix(base, "_") {
		return true
	}
	_, err := fs.Stat(fsys, path.Join(dir, "go.mod"))
	return err == nil
}

func (t *tree) addSource(fsys fs.FS, p string) error {
	text, err := fs.ReadFile(fsys, p)
	if err != nil {
		return err
	}
	s := source{path: p, dir: path.Dir(p), name: path.Base(p), places: token.NewFileSet(), test: strings.HasSuffix(p, "_test.go"),
		lines: strings.Count(string(text), "\n")}
	if s.file, err = parser.ParseFile(s.places, p, text, parser.ParseComments|parser.SkipObjectResolution); err != nil {
		return fmt.Errorf("parse: %w", err)
	}
	s.generated = ast.IsGenerated(s.file)
	for _, spec := range s.file.Imports {
		imported, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			return fmt.Errorf("%s: read an import: %w", p, err)
		}
		s.imports = append(s.imports, imported)
	}
	t.sources = append(t.sources, s)
	return nil
}
