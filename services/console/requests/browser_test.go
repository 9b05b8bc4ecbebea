package requests_test

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

func TestThePagesInABrowser(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	b := s.Browser(t, "office")
	b.Judge(t, "requests", "/requests")
	b.Judge(t, "requests-all", "/requests?state=")
	b.Judge(t, "request", "/request/"+waiting(t, s))
	b.Judge(t, "request-promised", "/request/F-001")
	b.Judge(t, "request-new", "/requests/new")
	b.Judge(t, "import", "/import")
	keyboard(t, b)
	onItsWay(t, s, b)
}

// onItsWay judges the page of a list that is being looked through, which here cannot go on until the owners are let go.
func onItsWay(t *testing.T, s *consoletest.School, b *consoletest.Browser) {
	t.Helper()
	tx, err := s.Pool.Begin(t.Context())
	require.NoError(t, err)
	defer func() { _ = tx.Rollback(t.Context()) }()
	_, err = tx.Exec(t.Context(), `lock table enrollment.owner in access exclusive mode`)
	require.NoError(t, err)
	b.Open(t, "/import")
	b.ChooseFiles(t, map[string]string{"owners-new.csv": "code,name,email,phone\nMEND-1,,,\nMEND-2,Bo Ghyll,,\n"})
	b.Click(t, "form.card button")
	b.Await(t, "it is looked through", `document.querySelector("#progress") !== null`)
	b.JudgeSizes(t, "import-progress")
	require.Equal(t, "Looking through the files", b.Text(t, "h1"), "it was judged on its way")
	require.NoError(t, tx.Rollback(t.Context()))
	b.Await(t, "the page goes on by itself", `document.querySelectorAll("tr.faulty").length === 1`)
}

// waiting is a request that has no promise.
func waiting(t testing.TB, s *consoletest.School) (code string) {
	t.Helper()
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select code from enrollment.request r where state = 'open'
		and not exists (select from planner.stay s where s.request_id = r.id) order by asked_on, code limit 1`).Scan(&code))
	return code
}

// keyboard walks through the list of requests with the Tab key alone: the way to the page comes first, everything that acts is reached, and what has the
// focus can be seen.
func keyboard(t *testing.T, b *consoletest.Browser) {
	t.Helper()
	b.Open(t, "/requests")
	require.Equal(t, "find", consoletest.Evaluate[string](t, b, `document.activeElement.name`), "whoever comes to look somebody up can type at once")
	reached := map[string]bool{}
	for range 12 {
		consoletest.Run(t, b, chromedp.KeyEvent(kb.Tab))
		reached[consoletest.Evaluate[string](t, b, `{const e = document.activeElement; const s = getComputedStyle(e);
			(e.name || e.textContent.trim().slice(0, 40)) + (s.outlineStyle === "none" ? " without a ring" : "")}`)] = true
	}
	for _, what := range []string{"site", "Find", "Take a request down", "Bring in a list"} {
		require.True(t, reached[what], "%s is reached with a ring: %v", what, reached)
	}
}
