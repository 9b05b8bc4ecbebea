package services_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// layer is the height of a package: imports point to lower layers.
type layer int

const (
	pure layer = iota
	plumbing
	leaf
	planning
	running
	sheets
	showing
	assembling
	command
	// support is for tests: any test may import it, and it may import anything.
	support
)

// layers gives every package under services, and a few folders beside it, a layer. Folders below inherit it.
var layers = map[string]layer{
	"services/ids":        pure,
	"services/calendar":   pure,
	"services/workload":   pure,
	"services/allocation": pure,
	"services/dayblocks":  pure,
	"services/slots":      pure,

	"migrations":          plumbing,
	"testdata/scenario":   plumbing,
	"services/apperr":     plumbing,
	"services/postgres":   plumbing,
	"services/localpg":    plumbing,
	"services/rpc":        plumbing,
	"services/jobs":       plumbing,
	"services/mail":       plumbing,
	"services/sheet":      plumbing,
	"services/records":    plumbing,
	"services/plaintable": plumbing,
	"services/facility":   leaf,
	"services/roster":     leaf,
	"services/training":   leaf,
	"services/handover":   leaf,
	"services/people":     leaf,
	"services/enrollment": leaf,
	// exchange knows no kind of record itself: the wiring hands it the ports of all services.
	"services/exchange": leaf,

	"services/planner": planning,
	// dayplan reads promises from planner, and nothing but the wiring and what shows things may know it.
	"services/dayplan": running,
	// readiness stands beside it: the two know nothing of each other.
	"services/readiness": running,
	// daysheet shows what dayplan has planned.
	"services/daysheet": sheets,
	// graduation finds times for handovers beside the planned days, and says which letters are due.
	"services/graduation": sheets,
	"services/console":    showing,
	// assembly puts all services together.
	"services/assembly": assembling,
	"cmd":               command,
	// e2e and deploy hold tests only: callers that know an address and a token, and a check of the example files.
	"services/e2e": command,
	"deploy":       command,

	"services/postgrestest":          support,
	"services/refsolve":              support,
	"services/internal/outside":      support,
	"services/internal/scenariotest": support,
	"services/console/consoletest":   support,
}

// solvers are the pure packages that import nothing of ours at all.
var solvers = []string{"services/allocation", "services/dayblocks", "services/slots"}

// installer is the one program that may use test support: it installs what the reference checks need.
const installer, installed = "cmd/verify", "services/refsolve/venv"

// Names of files that may see pgx and generated code: store.go, store_stay.go, server.go, convert_plan.go …
var (
	storeFile = regexp.MustCompile(`^store(_[a-z0-9_]+)?\.go$`)
	edgeFile  = regexp.MustCompile(`^(server|convert)(_[a-z0-9_]+)?\.go$`)
)

// unitOf finds the entry of layers that a folder belongs to: the folder itself or one above it.
func unitOf(dir string) (unit string, at layer, ok bool) {
	for unit = dir; ; {
		if at, ok = layers[unit]; ok {
			return unit, at, true
		}
		cut := strings.LastIndexByte(unit, '/')
		if cut < 0 {
			return "", 0, false
		}
		unit = unit[:cut]
	}
}

// ours turns an import path into a folder of our module.
func ours(imported string) (dir string, ok bool) {
	return strings.CutPrefix(imported, module+"/")
}

// checkLayers: imports run one way, pure <- plumbing and leaves <- planner <- dayplan <- daysheet <- console <- assembly <- cmd.
func checkLayers(t tree) []string {
	var found []string
	for _, s := range t.sources {
		if s.dir == "services" || strings.HasPrefix(s.dir, "proto/") {
			continue // this test, and generated code, which belong to no layer
		}
		if _, _, ok := unitOf(s.dir); !ok {
			found = append(found, fmt.Sprintf("%s: the package has no layer; add it to layers in services/arch_layers_test.go", s.path))
			continue
		}
		for _, imported := range s.imports {
			dir, mine := ours(imported)
			if !mine || strings.HasPrefix(dir, "proto/") {
				continue
			}
			if why := wrongDirection(s, dir); why != "" {
				found = append(found, fmt.Sprintf("%s imports %s: %s", s.path, dir, why))
			}
		}
	}
	return found
}

// wrongDirection says why a file may not import one of our folders, or nothing.
func wrongDirection(s source, dir string) string {
	from, low, _ := unitOf(s.dir)
	to, high, ok := unitOf(dir)
	switch {
	case !ok:
		return "that package has no layer; add it to layers in services/arch_layers_test.go"
	case from == to, low == support:
		return ""
	case high == support:
		if s.test || s.dir == installer && dir == installed {
			return ""
		}
		return "test support may be imported by tests only; move what both need into a package of its own"
	case high < low, low == plumbing && high == plumbing:
		return ""
	case s.test && from == "services/exchange" && high == planning:
		return "" // it is tested with every kind of record, and the planner keeps two
	case s.test && from == "services/console" && to == "services/assembly":
		return "" // pages are tested with all services behind them
	case low == pure && high == pure:
		return "" // checkPure knows which of them may
	case low == leaf && high == leaf:
		if s.test {
			return ""
		}
		return "leaf services never import each other; let planner join what both know, or pass in the value that is needed"
	}
	return "imports run one way: pure <- plumbing, leaves <- planner <- dayplan <- daysheet <- console <- assembly <- cmd; move the shared part down or pass it in"
}

// checkPure: pure packages import the standard library alone, and nothing of it that reaches outside the program.
func checkPure(t tree) []string {
	var found []string
	for _, s := range t.sources {
		unit, at, ok := unitOf(s.dir)
		if !ok || at != pure || s.test {
			continue
		}
		for _, imported := range s.imports {
			if why := notPure(unit, imported); why != "" {
				found = append(found, fmt.Sprintf("%s imports %s: %s", s.path, imported, why))
			}
		}
	}
	return found
}

func notPure(unit, imported string) string {
	if dir, mine := ours(imported); mine {
		to, at, _ := unitOf(dir)
		switch {
		case to == unit:
			return ""
		case slices.Contains(solvers, unit):
			return "a solver imports nothing of ours; give it plain numbers"
		case at != pure || !strings.HasPrefix(dir, "services/"):
			return "a pure package imports pure packages only; pass in the value that is needed"
		}
		return ""
	}
	first, _, _ := strings.Cut(imported, "/")
	if strings.Contains(first, ".") {
		if unit == "services/ids" && imported == "github.com/google/uuid" {
			return ""
		}
		return "a pure package imports the standard library only; move the use of this library into plumbing or a service"
	}
	if imported == "database/sql/driver" && (unit == "services/ids" || unit == "services/calendar") {
		return ""
	}
	if slices.Contains([]string{"context", "os", "net", "log", "database", "syscall", "plugin"}, first) {
		return "a pure package reaches nothing outside the program; pass in what it needs"
	}
	return ""
}

// checkPgx: SQL lives in store files and in the database plumbing.
func checkPgx(t tree) []string {
	var found []string
	for _, s := range t.sources {
		unit, _, _ := unitOf(s.dir)
		if storeFile.MatchString(s.name) || slices.Contains([]string{"services/jobs", "services/postgres", "services/postgrestest", "services/localpg", "services/console/consoletest"}, unit) {
			continue
		}
		for _, imported := range s.imports {
			if strings.HasPrefix(imported, "github.com/jackc/pgx/") {
				found = append(found, fmt.Sprintf("%s imports %s: only store*.go and the database plumbing see pgx; move the SQL into store.go or use postgres.DB and postgres.Tx", s.path, imported))
			}
		}
	}
	return found
}

// checkGenerated: generated protobuf code stays at the edge.
func checkGenerated(t tree) []string {
	var found []string
	for _, s := range t.sources {
		atEdge := edgeFile.MatchString(s.name) || s.test || s.generated ||
			s.dir == "services/rpc" || strings.HasPrefix(s.dir, "cmd/") ||
			s.dir == "services/assembly" || strings.HasPrefix(s.dir, "services/console") // callers of services like any other
		for _, imported := range s.imports {
			dir, mine := ours(imported)
			// openapi holds one embedded file and no generated Go.
			if mine && strings.HasPrefix(dir, "proto/longlead/") && dir != "proto/longlead/openapi" && !atEdge {
				found = append(found, fmt.Sprintf("%s imports %s: only server*.go, convert*.go, rpc and cmd see generated code; turn the message into our own type in convert.go", s.path, dir))
			}
		}
	}
	return found
}
