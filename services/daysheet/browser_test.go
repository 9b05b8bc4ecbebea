package daysheet_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/refsolve/venv"
)

// newBrowser starts a headless Chromium. Where it is missing the test fails and says how to come by one, or is skipped when it is left out on
// purpose.
func newBrowser(t *testing.T) context.Context {
	t.Helper()
	program, err := venv.Browser()
	if errors.Is(err, venv.ErrNoBrowser) {
		t.Skip(err)
	}
	require.NoError(t, err)
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.UserDataDir(t.TempDir()),
		// The sandbox does not start for root, as whom CI runs, and the pages are ours.
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	t.Cleanup(cancel)
	ctx, stop := chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(stop)
	ctx, closeTab := chromedp.NewContext(ctx)
	t.Cleanup(closeTab)
	return ctx
}

// open shows a page of the server, as a viewer who is logged in.
func (s *school) open(t *testing.T, ctx context.Context, path string) {
	t.Helper()
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Header.Set("Authorization", "Bearer "+secretOf("viewer"))
		s.web.ServeHTTP(w, r)
	}))
	t.Cleanup(web.Close)
	response, err := chromedp.Run(ctx, chromedp.NavigateResponse(web.URL+path))
	require.NoError(t, err)
	require.Equal(t, int64(200), response.Status)
}

func evaluate[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	require.NoError(t, err, "%.80s", script)
	return got
}

var (
	pdfPage  = regexp.MustCompile(`/Type\s*/Page[^s]`)
	mediaBox = regexp.MustCompile(`/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)\s*\]`)
)

// TestEachTrainerIsPrintedOnOnePage prints a full day on both sizes of paper.
func TestEachTrainerIsPrintedOnOnePage(t *testing.T) {
	t.Parallel()
	ctx := newBrowser(t)
	s := newSchool(t)
	scenariotest.FillMarch(t, s.pool)
	for _, r := range []struct{ site, day string }{{"TARN", "2027-03-09"}, {"FENN", "2027-03-11"}} {
		s.plan(t, r.site, r.day)
		sheet := s.sheet(t, r.site, r.day)
		most := 0
		for _, x := range sheet.GetTrainers() {
			most = max(most, len(x.GetDogCodes()))
		}
		require.GreaterOrEqual(t, most, 5, "the day is a full one")
		for _, paper := range []struct{ name, size string }{{"A4", "595 x 842"}, {"Letter", "612 x 792"}} {
			s.open(t, ctx, "/sheets/"+r.site+"/"+r.day+"?paper="+paper.name)
			pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
			require.NoError(t, err)
			require.Len(t, pdfPage.FindAll(pdf, -1), len(sheet.GetTrainers()), "%s %s on %s: a page for each trainer", r.site, r.day, paper.name)
			boxes := mediaBox.FindAllSubmatch(pdf, -1)
			require.NotEmpty(t, boxes)
			for _, b := range boxes {
				require.Equal(t, paper.size, boxText(t, b))
			}
			outside.Check(t, fmt.Sprintf("a page of day sheets in points, %s, as Chromium prints it", paper.name), paperSource[paper.name], paper.size, boxText(t, boxes[0]))
		}
	}
}

// paperSource says where the sizes of paper are from.
var paperSource = map[string]string{"A4": "ISO 216: 210 mm x 297 mm, in points of 1/72 inch, from memory", "Letter": "ANSI/ASME Y14.1: 8.5 in x 11 in, in points of 1/72 inch, from memory"}

func boxText(t *testing.T, box [][]byte) string {
	t.Helper()
	var width, height float64
	_, err := fmt.Sscan(string(box[1])+" "+string(box[2]), &width, &height)
	require.NoError(t, err)
	return fmt.Sprintf("%.0f x %.0f", width, height)
}

// TestThePageOnAPhoneAndForEverybody holds pages against the rules of axe-core, and against the width of a small phone.
func TestThePageOnAPhoneAndForEverybody(t *testing.T) {
	t.Parallel()
	ctx := newBrowser(t)
	file, err := venv.Axe()
	require.NoError(t, err)
	rules, err := os.ReadFile(file)
	require.NoError(t, err)
	s := newSchool(t)
	s.keepFixed(t, goldenDay)
	for _, width := range []int64{360, 1280} {
		for _, query := range []string{"", "?by=row&paper=Letter", "?trainer=LOTTE"} {
			name := fmt.Sprintf("%d px %s", width, query)
			_, err := chromedp.Run(ctx, chromedp.EmulateViewport(width, 740))
			require.NoError(t, err)
			s.open(t, ctx, "/sheets/DRUM/"+goldenDay+query)
			require.Equal(t, "en", evaluate[string](t, ctx, `document.documentElement.lang`))
			require.Equal(t, "rgb(0, 0, 0) on rgb(255, 255, 255)", evaluate[string](t, ctx, `getComputedStyle(document.body).color + " on " + getComputedStyle(document.body).backgroundColor`),
				"%s: the policy lets the page's own style in", name)
			require.LessOrEqual(t, evaluate[int64](t, ctx, `document.documentElement.scrollWidth`), width, name)
			require.Empty(t, evaluate[[]string](t, ctx, fmt.Sprintf(`[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > %d.5).map(e => e.outerHTML.slice(0, 80))`, width)), name)
			require.Empty(t, evaluate[[]string](t, ctx, `[...document.querySelectorAll("table")].filter(t => !t.caption || !t.tHead || [...t.querySelectorAll("th")].some(h => !h.scope)).map(t => t.outerHTML.slice(0, 80))`),
				"%s: every table has a caption and headers with a scope", name)
			if query == "" {
				_, err := chromedp.Run(ctx, chromedp.KeyEvent(kb.Tab))
				require.NoError(t, err)
				require.Equal(t, "#sheet-1", evaluate[string](t, ctx, `document.activeElement.getAttribute("href")`), "%s: the keyboard gets to the first sheet at once", name)
			}
			require.Empty(t, violations(t, ctx, string(rules)), name)
		}
	}
}

// violations are what axe-core finds wrong, with where.
func violations(t *testing.T, ctx context.Context, rules string) (found []string) {
	t.Helper()
	evaluate[bool](t, ctx, rules+";true")
	text := evaluate[string](t, ctx, `axe.run().then(r => JSON.stringify({passes: r.passes.length, violations: r.violations}))`)
	var got struct {
		Passes     int
		Violations []struct {
			ID, Help string
			Nodes    []struct{ HTML string }
		}
	}
	require.NoError(t, json.Unmarshal([]byte(text), &got))
	require.Greater(t, got.Passes, 10, "the rules ran")
	for _, v := range got.Violations {
		found = append(found, fmt.Sprintf("%s: %s: %.120s", v.ID, v.Help, strings.Join(strings.Fields(v.Nodes[0].HTML), " ")))
	}
	return found
}
