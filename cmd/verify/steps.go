package main

import (
	"bytes"
	"context"
	"fmt"
	"go/ast"
	"go/format"
	"go/parser"
	"go/token"
	"go/version"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// Versions of the tools that are run from the module cache.
const (
	leastGo     = "go1.26"
	staticcheck = "honnef.co/go/tools/cmd/staticcheck@v0.8.2"
	govulncheck = "golang.org/x/vuln/cmd/govulncheck@v1.9.0"
)

// steps lists every check in the order in which they run: quick ones first.
func steps() []step {
	return []step{
		{"tools", "Go and git are there", nil, stepTools},
		{"gofmt", "every Go file is formatted", nil, stepGofmt},
		{"migrations", "migration files are well named and no number is used twice", nil, stepMigrations},
		{"vet", "go vet", nil, stepVet},
		{"staticcheck", "staticcheck", nil, stepStaticcheck},
		{"protos", "print the third-party .proto files", nil, stepProtos},
		{"lint", "buf lint", []string{"protos"}, stepLint},
		{"breaking", "buf breaking: the API keeps what it promised one commit ago", []string{"protos"}, stepBreaking},
		{"generated", "generated code is what the .proto files give", nil, stepGenerated},
		{"tidy", "go.mod and go.sum are tidy", nil, stepTidy},
		{"reference", "install the solvers that tests compare with", nil, stepReference},
		{"browser", "find or install the browser that tests print pages with", nil, stepBrowser},
		{"test", "every test, with the race detector", []string{"reference", "browser"}, stepTest},
		{"whole", "the tests that do less under the race detector, without it", nil, stepWhole},
		{"benchmarks", "every benchmark, once", nil, stepBenchmarks},
		{"govulncheck", "no known vulnerability is reached", nil, stepVulnerabilities},
		{"build", "programs build for Linux and macOS, amd64 and arm64", nil, stepBuild},
	}
}

func stepTools(ctx context.Context, _ *work, r *record) outcome {
	have, err := r.output(ctx, "go", "env", "GOVERSION")
	if err != nil {
		return fail("the go command does not run: %v", err)
	}
	have = strings.TrimSpace(have)
	if version.Compare(have, leastGo) < 0 {
		return fail("%s is here; this project needs %s or newer", have, leastGo)
	}
	if _, err := r.output(ctx, "git", "rev-parse", "HEAD"); err != nil {
		return fail("git cannot read this folder (%v); verify needs git and a clone with at least one commit", err)
	}
	return pass("%s", have)
}

// stepGofmt looks at tracked files only: what is not in git is not ours to judge.
func stepGofmt(ctx context.Context, w *work, r *record) outcome {
	var list bytes.Buffer
	files := r.command(ctx, "git", "ls-files", "-z", "--", "*.go")
	files.Stdout = &list
	if err := files.Run(); err != nil {
		return fail("list the Go files: %v", err)
	}
	var wrong []string
	looked := 0
	for _, name := range strings.FieldsFunc(list.String(), func(c rune) bool { return c == 0 }) {
		text, err := os.ReadFile(filepath.Join(w.root, name))
		if os.IsNotExist(err) {
			continue // removed from the work tree and not yet from git
		}
		if err != nil {
			return fail("%v", err)
		}
		if isGenerated(text) {
			continue
		}
		looked++
		if clean, err := format.Source(text); err != nil {
			wrong = append(wrong, fmt.Sprintf("%s: %v", name, err))
		} else if !bytes.Equal(clean, text) {
			wrong = append(wrong, name)
		}
	}
	if len(wrong) > 0 {
		r.printf("\nnot as gofmt writes them:\n%s\n", strings.Join(wrong, "\n"))
		return fail("%d of %d files are not formatted; run gofmt -w on them", len(wrong), looked)
	}
	return pass("%d files", looked)
}

func isGenerated(text []byte) bool {
	file, err := parser.ParseFile(token.NewFileSet(), "", text, parser.PackageClauseOnly|parser.ParseComments)
	return err == nil && ast.IsGenerated(file)
}

var migrationName = regexp.MustCompile(`^([0-9]{4})_[a-z0-9_]+\.sql$`)

func stepMigrations(_ context.Context, w *work, r *record) outcome {
	entries, err := os.ReadDir(filepath.Join(w.root, "migrations"))
	if err != nil {
		return fail("%v", err)
	}
	var names []string
	for _, e := range entries {
		if filepath.Ext(e.Name()) == ".sql" {
			names = append(names, e.Name())
		}
	}
	if wrong := wrongMigrations(names); len(wrong) > 0 {
		r.printf("%s\n", strings.Join(wrong, "\n"))
		return fail("%s", wrong[0])
	}
	return pass("%d files", len(names))
}

// wrongMigrations says what is wrong with the names of migration files.
func wrongMigrations(names []string) []string {
	var wrong []string
	byNumber := map[string][]string{}
	for _, name := range names {
		m := migrationName.FindStringSubmatch(name)
		if m == nil {
			wrong = append(wrong, fmt.Sprintf("migrations/%s: write the name as 0001_what_it_does.sql", name))
			continue
		}
		byNumber[m[1]] = append(byNumber[m[1]], name)
	}
	for _, number := range slices.Sorted(maps.Keys(byNumber)) {
		if same := byNumber[number]; len(same) > 1 {
			wrong = append(wrong, fmt.Sprintf("migrations: number %s is used %d times (%s); give the newer one the next free number", number, len(same), strings.Join(same, ", ")))
		}
	}
	return wrong
}

func stepVet(ctx context.Context, _ *work, r *record) outcome {
	if err := r.run(ctx, "go", "vet", "./..."); err != nil {
		return fail("%v", err)
	}
	return failOn(r.run(ctx, "go", "-C", "proto/codegen", "vet", "./..."))
}

func stepStaticcheck(ctx context.Context, _ *work, r *record) outcome {
	return failOn(r.run(ctx, "go", "run", staticcheck, "./..."))
}

func stepTidy(ctx context.Context, _ *work, r *record) outcome {
	for _, dir := range []string{".", "proto/codegen"} {
		if err := r.run(ctx, "go", "-C", dir, "mod", "tidy", "-diff"); err != nil {
			return fail("%s/go.mod or go.sum is not tidy; run go -C %s mod tidy (%v)", dir, dir, err)
		}
	}
	return pass("")
}

var benchmarkLine = regexp.MustCompile(`(?m)^Benchmark\S+\s.*ns/op`)

func stepBenchmarks(ctx context.Context, _ *work, r *record) outcome {
	out, err := r.output(ctx, "go", "test", "-run", "^$", "-bench", ".", "-benchtime", "1x", "-short", "-timeout", "30m", "./...")
	if err != nil {
		return fail("%v", err)
	}
	return pass("%d ran", len(benchmarkLine.FindAllString(out, -1)))
}

// unreachable matches what programs print when the network has no answer, as against a refusal.
var unreachable = regexp.MustCompile(`no such host|i/o timeout|network is unreachable|no route to host|connection refused|TLS handshake timeout|` +
	`NewConnectionError|NameResolutionError|ConnectTimeoutError|ReadTimeoutError|Temporary failure in name resolution|Name or service not known|ProxyError`)

func stepVulnerabilities(ctx context.Context, _ *work, r *record) outcome {
	out, err := r.both(ctx, "go", "run", govulncheck, "./...")
	return judgeVulnerabilities(out, err)
}

// judgeVulnerabilities tells a finding from a database that could not be asked.
func judgeVulnerabilities(out string, err error) outcome {
	switch {
	case err == nil:
		return pass("")
	case strings.Contains(out, "Vulnerability #"):
		return fail("known vulnerabilities are reached: %v", err)
	case strings.Contains(out, "fetching vulnerabilities") && unreachable.MatchString(out):
		return outcome{leftOut, "the vulnerability database cannot be reached from this machine"}
	}
	return fail("%v", err)
}

func stepBuild(ctx context.Context, _ *work, r *record) outcome {
	folder, err := os.MkdirTemp("", "verify-build-")
	if err != nil {
		return fail("%v", err)
	}
	defer os.RemoveAll(folder)
	for _, system := range []string{"linux", "darwin"} {
		for _, processor := range []string{"amd64", "arm64"} {
			target := filepath.Join(folder, system+"-"+processor) + string(filepath.Separator)
			cmd := r.command(ctx, "go", "build", "-o", target, "./cmd/...")
			cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+processor)
			if err := cmd.Run(); err != nil {
				return fail("build for %s/%s: %v", system, processor, err)
			}
			built, err := os.ReadDir(target)
			if err != nil || len(built) == 0 {
				return fail("build for %s/%s made no program", system, processor)
			}
		}
	}
	return pass("4 targets")
}
