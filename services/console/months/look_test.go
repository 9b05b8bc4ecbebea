package months_test

import (
	"testing"

	"github.com/longlead/longlead/services/console/consoletest"
)

// TestPagesAreFitToBeLookedAt judges every page at two sizes and keeps pictures of them.
func TestPagesAreFitToBeLookedAt(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Work: true})
	plan := draft(t, s, 1, 30)
	other := draft(t, s, 2, 3000)
	b := s.Browser(t, "manager")
	for _, page := range []struct{ name, path string }{
		{"month", "/month/" + month},
		{"month-empty", "/month/2027-07"},
		{"site", planPath(plan, "/site/DRUM")},
		{"requests", planPath(plan, "/requests")},
		{"waiting", planPath(plan, "/requests?which=waiting")},
		{"request-placed", planPath(plan, "/request/M-029")},
		{"request-waiting", planPath(plan, "/request/M-013")},
		{"compare", planPath(plan, "/compare/"+other.GetId())},
		{"worth", planPath(plan, "/worth")},
		{"promise", planPath(plan, "/promise")},
		{"moves-empty", "/month/" + month + "/moves"},
	} {
		b.Judge(t, page.name, page.path)
	}
}
