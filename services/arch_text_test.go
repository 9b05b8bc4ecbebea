package services_test

import (
	"fmt"
	"go/ast"
	"go/token"
	"maps"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Sizes in lines. Beyond the first number a test says so, beyond the second it fails.
const (
	longFunction, tooLongFunction = 60, 80
	longFile, tooLongFile         = 400, 500
)

var (
	createTable = regexp.MustCompile(`(?im)^\s*create\s+(?:unlogged\s+)?table\s+(?:if\s+not\s+exists\s+)?([a-z_0-9]+)(?:\.([a-z_0-9]+))?`)
	dotted      = regexp.MustCompile(`\b[a-z_0-9]+\.[a-z_0-9]+\b`)
)

// tables lists schema.table of every table that a migration creates.
func (t tree) tables() (names map[string]bool, found []string) {
	names = map[string]bool{}
	for _, file := range slices.Sorted(maps.Keys(t.migrations)) {
		for _, m := range createTable.FindAllStringSubmatch(t.migrations[file], -1) {
			if m[2] == "" {
				found = append(found, fmt.Sprintf("%s: table %s is in no schema; name it service.%s, so that one can see whose it is", file, m[1], m[1]))
				continue
			}
			names[m[1]+"."+m[2]] = true
		}
	}
	return names, found
}

// checkTables: each table is named in the package of its service only. Tests may look at any table.
func checkTables(t tree) []string {
	names, found := t.tables()
	for _, s := range t.sources {
		if s.test || s.generated {
			continue
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			if _, isImport := n.(*ast.ImportSpec); isImport {
				return false
			}
			literal, ok := n.(*ast.BasicLit)
			if !ok || literal.Kind != token.STRING {
				return true
			}
			text, err := strconv.Unquote(literal.Value)
			if err != nil {
				return true
			}
			for _, name := range dotted.FindAllString(text, -1) {
				schema, _, _ := strings.Cut(name, ".")
				if owner := "services/" + schema; names[name] && s.dir != owner && !strings.HasPrefix(s.dir, owner+"/") {
					found = append(found, fmt.Sprintf("%s:%d names the table %s: a table is named in its own package only; call a function of %s", s.path, s.lineOf(literal.Pos()), name, owner))
				}
			}
			return true
		})
	}
	return found
}

// checkPackageComments: every package says what it is for.
func checkPackageComments(t tree) []string {
	documented := map[string]bool{}
	for _, s := range t.sources {
		onlyTests := !slices.ContainsFunc(t.sources, func(o source) bool { return o.dir == s.dir && !o.test })
		if s.generated || s.test && !onlyTests {
			continue
		}
		documented[s.dir] = documented[s.dir] || s.file.Doc != nil && len(s.file.Doc.Text()) > 0
	}
	var found []string
	for _, dir := range slices.Sorted(maps.Keys(documented)) {
		if !documented[dir] {
			found = append(found, fmt.Sprintf("%s has no package comment; write what it does and what it leaves to others above one package clause", dir))
		}
	}
	return found
}

// checkNames: folders are named after what they hold, not after a kind of code.
func checkNames(t tree) []string {
	found := map[string]bool{}
	for _, s := range t.sources {
		for _, part := range strings.Split(s.dir, "/") {
			if slices.Contains([]string{"pkg", "util", "utils", "common", "helpers", "models", "misc"}, part) {
				found[fmt.Sprintf("%s: a folder named %s says nothing; name it after what it holds", s.dir, part)] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(found))
}

// checkInit: nothing happens before main.
func checkInit(t tree) []string {
	var found []string
	for _, s := range t.sources {
		for _, d := range s.file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && f.Name.Name == "init" && !s.generated {
				found = append(found, fmt.Sprintf("%s:%d has an init function; do it in a constructor", s.path, s.lineOf(f.Pos())))
			}
		}
	}
	return found
}

// checkSizes: functions and files stay small enough to read. long is worth a look, tooLong is a failure.
func checkSizes(t tree) (long, tooLong []string) {
	note := func(n, warn, fail int, what string) {
		switch {
		case n > fail:
			tooLong = append(tooLong, fmt.Sprintf("%s has %d lines; at most %d: split it by subject", what, n, fail))
		case n > warn:
			long = append(long, fmt.Sprintf("%s has %d lines; aim for %d", what, n, warn))
		}
	}
	for _, s := range t.sources {
		if s.test || s.generated {
			continue
		}
		note(s.lines, longFile, tooLongFile, s.path)
		for _, d := range s.file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok {
				note(s.lineOf(f.End())-s.lineOf(f.Pos())+1, longFunction, tooLongFunction, fmt.Sprintf("%s: function %s", s.path, f.Name.Name))
			}
		}
	}
	return long, tooLong
}

// checkTop: the top folder holds the agreed names only, so that a newcomer finds the way.
func checkTop(names []string) []string {
	allowed := []string{"proto", "services", "cmd", "deploy", "migrations", "testdata", "go.mod", "go.sum", "buf.yaml", "buf.gen.yaml",
		"README.md", "DEVELOPERS.md", "LICENSE"}
	var found []string
	for _, name := range names {
		if top, _, _ := strings.Cut(path.Clean(name), "/"); !strings.HasPrefix(top, ".") && !slices.Contains(allowed, top) {
			found = append(found, fmt.Sprintf("%s stands in the top folder; put it into one of %s", top, strings.Join(allowed[:6], ", ")))
		}
	}
	return slices.Compact(found)
}
