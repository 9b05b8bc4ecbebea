package consoletest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/refsolve/venv"
)

// Browser is a tab of a headless Chromium that looks at the school.
type Browser struct {
	// Ctx is for actions of chromedp.
	Ctx context.Context
	url string
	axe string
}

// Browser starts a headless Chromium and signs a person of a role in; nobody where the role is empty. Where Chromium is missing the test fails and
// says how to come by one, or is skipped when it is left out on purpose.
func (s *School) Browser(t testing.TB, role string) *Browser {
	t.Helper()
	program, err := venv.Browser()
	if errors.Is(err, venv.ErrNoBrowser) {
		t.Skip(err)
	}
	require.NoError(t, err)
	file, err := venv.Axe()
	require.NoError(t, err)
	rules, err := os.ReadFile(file)
	require.NoError(t, err)
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.UserDataDir(t.TempDir()),
		// The sandbox does not start for root, as whom CI runs, and the pages are ours.
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	_, lifetime := patience()
	ctx, cancel := context.WithTimeout(t.Context(), lifetime)
	t.Cleanup(cancel)
	ctx, stop := chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(stop)
	ctx, closeTab := chromedp.NewContext(ctx)
	t.Cleanup(closeTab)
	b := &Browser{Ctx: ctx, url: s.URL, axe: string(rules)}
	b.Size(t, 1280, 800)
	if role != "" {
		b.become(t, s.As(t, role))
	}
	return b
}

// become takes the cookies of a client over.
func (b *Browser) become(t testing.TB, c *Client) {
	t.Helper()
	address, err := url.Parse(b.url)
	require.NoError(t, err)
	for _, cookie := range c.http.Jar.Cookies(address) {
		hidden := true
		_, err := chromedp.Call(b.Ctx, network.SetCookie, network.SetCookieParams{Name: cookie.Name, Value: cookie.Value, URL: b.url, HTTPOnly: &hidden})
		require.NoError(t, err)
	}
}

// Size sets the size of the window in CSS pixels.
func (b *Browser) Size(t testing.TB, width, height int64) {
	t.Helper()
	_, err := chromedp.Run(b.Ctx, chromedp.EmulateViewport(width, height))
	require.NoError(t, err)
}

// Open shows a page, which must be there.
func (b *Browser) Open(t testing.TB, path string) {
	t.Helper()
	response, err := chromedp.Run(b.Ctx, chromedp.NavigateResponse(b.url+path))
	require.NoError(t, err)
	require.Equal(t, int64(http.StatusOK), response.Status, path)
}

// Run does actions that return nothing of use.
func Run[T any](t testing.TB, b *Browser, action chromedp.Action[T]) T {
	t.Helper()
	got, err := chromedp.Run(b.Ctx, action)
	require.NoError(t, err)
	return got
}

// Evaluate runs a script in the page and returns what it returns, or resolves to.
func Evaluate[T any](t testing.TB, b *Browser, script string) T {
	t.Helper()
	got, err := chromedp.Run(b.Ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	require.NoError(t, err, "%.80s", script)
	return got
}

// Text returns what a person reads in the first element that a selector finds.
func (b *Browser) Text(t testing.TB, selector string) string {
	t.Helper()
	return Evaluate[string](t, b, fmt.Sprintf(`(document.querySelector(%q)?.innerText ?? "")`, selector))
}

// patience is how long a page may take until it shows what is waited for, and lifetime how long a test may use its browser: much longer than either
// takes, since other tests crowd the machine.
func patience() (wait, lifetime time.Duration) {
	if UnderRace {
		return 5 * time.Minute, 20 * time.Minute
	}
	return 2 * time.Minute, 10 * time.Minute
}

// Await waits until a script returns true.
func (b *Browser) Await(t testing.TB, what, script string) {
	t.Helper()
	wait, _ := patience()
	require.Eventually(t, func() bool {
		got, err := chromedp.Run(b.Ctx, chromedp.Evaluate[bool](script))
		return err == nil && got
	}, wait, 50*time.Millisecond, what)
}

// Click clicks on the first element that a selector finds.
func (b *Browser) Click(t testing.TB, selector string) {
	t.Helper()
	b.Await(t, "there is "+selector, fmt.Sprintf(`document.querySelector(%q) !== null`, selector))
	Evaluate[bool](t, b, fmt.Sprintf(`document.querySelector(%q).click(); true`, selector))
}

// Fill writes a value into a field.
func (b *Browser) Fill(t testing.TB, selector, value string) {
	t.Helper()
	b.Await(t, "there is "+selector, fmt.Sprintf(`document.querySelector(%q) !== null`, selector))
	Evaluate[bool](t, b, fmt.Sprintf(`{const f = document.querySelector(%q); f.value = %q; f.dispatchEvent(new Event("input", {bubbles: true})); f.dispatchEvent(new Event("change", {bubbles: true})); true}`, selector, value))
}

// Picture keeps a picture of the whole page where LONGLEAD_PICTURES names a folder, for people to look at.
func (b *Browser) Picture(t testing.TB, name string) {
	t.Helper()
	folder := os.Getenv("LONGLEAD_PICTURES")
	if folder == "" {
		return
	}
	png := Run(t, b, chromedp.FullScreenshot(100))
	require.NoError(t, os.MkdirAll(folder, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(folder, name+".png"), png, 0o644))
}

// Sizes are the windows that pages must fit into: a small phone, and a desk.
var Sizes = [][2]int64{{360, 740}, {1280, 800}}

// Judge opens a page at both sizes: nothing sticks out, axe-core finds no violation, and the weight is below 300 KB. It keeps pictures (Picture).
func (b *Browser) Judge(t testing.TB, name, path string) {
	t.Helper()
	for _, size := range Sizes {
		b.Size(t, size[0], size[1])
		b.Open(t, path)
		b.JudgeHere(t, fmt.Sprintf("%s-%d", name, size[0]), size[0])
	}
	weight := Evaluate[int64](t, b, `fetch(location.href).then(r => r.text()).then(t => new Blob([t]).size + performance.getEntriesByType("resource").filter(e => !e.name.includes("/events") && e.name !== location.href).reduce((n, e) => n + (e.decodedBodySize || 0), 0))`)
	require.Less(t, weight, int64(300<<10), "%s with all that it loads, in bytes", path)
	require.Positive(t, weight)
}

// JudgeSizes judges the page as it stands at both sizes, and leaves the window at the larger one.
func (b *Browser) JudgeSizes(t testing.TB, name string) {
	t.Helper()
	for _, size := range Sizes {
		b.Size(t, size[0], size[1])
		b.JudgeHere(t, fmt.Sprintf("%s-%d", name, size[0]), size[0])
	}
}

// JudgeHere judges the page as it stands in a window of a width.
func (b *Browser) JudgeHere(t testing.TB, name string, width int64) {
	t.Helper()
	b.Picture(t, name)
	require.LessOrEqual(t, Evaluate[int64](t, b, `document.documentElement.scrollWidth`), width, "%s: nothing sticks out", name)
	require.Empty(t, b.violations(t), name)
}

// violations are what axe-core finds wrong, with where.
func (b *Browser) violations(t testing.TB) (found []string) {
	t.Helper()
	Evaluate[bool](t, b, b.axe+";true")
	text := Evaluate[string](t, b, `axe.run().then(r => JSON.stringify({passes: r.passes.length, violations: r.violations}))`)
	var got struct {
		Passes     int
		Violations []struct {
			ID, Help string
			Nodes    []struct{ HTML string }
		}
	}
	require.NoError(t, json.Unmarshal([]byte(text), &got))
	require.Greater(t, got.Passes, 8, "the rules ran")
	for _, v := range got.Violations {
		found = append(found, fmt.Sprintf("%s: %s: %.120s", v.ID, v.Help, strings.Join(strings.Fields(v.Nodes[0].HTML), " ")))
	}
	return found
}

var pdfPage = regexp.MustCompile(`/Type\s*/Page[^s]`)

// Print prints the page and returns the number of sheets of paper, A4 or Letter.
func (b *Browser) Print(t testing.TB, name, paper string) int {
	t.Helper()
	size := chromedp.PaperA4
	if paper == "Letter" {
		size = chromedp.PaperLetter
	}
	pdf := Run(t, b, chromedp.PrintToPDF(chromedp.PDFPaper(size), chromedp.PDFPrintBackground()))
	if folder := os.Getenv("LONGLEAD_PICTURES"); folder != "" {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name+"-"+paper+".pdf"), pdf, 0o644))
	}
	return len(pdfPage.FindAll(pdf, -1))
}
