package handover

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgres"
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

func evaluate[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	require.NoError(t, err, "%.80s", script)
	return got
}

// act runs steps in the browser.
func act[T any](t *testing.T, ctx context.Context, step chromedp.Action[T]) {
	t.Helper()
	_, err := chromedp.Run(ctx, step)
	require.NoError(t, err)
}

// press presses a button and waits for the page that follows.
func press(t *testing.T, ctx context.Context, button string) {
	t.Helper()
	response, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.CSS(button)))
	require.NoError(t, err, button)
	require.Equal(t, int64(200), response.Status, "after the answer the browser is sent back to the page")
}

// wide is what reaches beyond the right edge of a window, as markup.
func wide(t *testing.T, ctx context.Context, width int64) []string {
	t.Helper()
	return evaluate[[]string](t, ctx, fmt.Sprintf(`[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > %d.5).map(e => e.outerHTML.slice(0, 80))`, width))
}

// TestAnOwnerAnswersInABrowser opens the link on a small phone, confirms with one tap, moves it with two, asks for another time, and holds every
// page against the rules of axe-core.
func TestAnOwnerAnswersInABrowser(t *testing.T) {
	t.Parallel()
	ctx := newBrowser(t)
	file, err := venv.Axe()
	require.NoError(t, err)
	rules, err := os.ReadFile(file)
	require.NoError(t, err)
	s := newSchool(t)
	set := Defaults(siteRef.ID)
	set.Phone, set.Place = "555-0100", "17 Mill Lane"
	require.NoError(t, postgres.InTx(t.Context(), s.pool, func(tx postgres.Tx) error { return putSettings(t.Context(), tx, []Setting{set}) }))
	other := slotAt(t, "2027-03-20", "15:00")
	other.TrainerID = ben.ID
	a, token := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"), slotAt(t, "2027-03-20", "13:00"), other)
	web := httptest.NewServer(s.web)
	t.Cleanup(web.Close)
	look := func(name string) {
		require.LessOrEqual(t, evaluate[int64](t, ctx, `document.documentElement.scrollWidth`), int64(360), name)
		require.Empty(t, wide(t, ctx, 360), name)
		require.Equal(t, "rgb(251, 249, 244)", evaluate[string](t, ctx, `getComputedStyle(document.body).backgroundColor`), "%s: the policy lets the page's own style in", name)
		require.Zero(t, evaluate[int64](t, ctx, `document.scripts.length`), name)
		require.Empty(t, evaluate[[]string](t, ctx, `[...document.querySelectorAll("button, summary, label.time")].filter(e => e.getBoundingClientRect().height < 40 && e.getBoundingClientRect().height > 0).map(e => e.outerHTML)`), "%s: a finger finds it", name)
		require.Empty(t, violations(t, ctx, string(rules)), name)
		keepPicture(t, ctx, "owner-"+name)
	}
	stateLook := func(property string) string {
		return evaluate[string](t, ctx, `getComputedStyle(document.querySelector(".state"))["`+property+`"]`)
	}
	act(t, ctx, chromedp.EmulateViewport(360, 740))
	response, err := chromedp.Run(ctx, chromedp.NavigateResponse(web.URL+LinkPath(token)))
	require.NoError(t, err)
	require.Equal(t, int64(200), response.Status)
	look("offered")
	require.Equal(t, "dashed", stateLook("borderTopStyle"), "a proposal has a broken edge")
	act(t, ctx, chromedp.KeyEvent(kb.Tab))
	require.Equal(t, "confirm", evaluate[string](t, ctx, `document.activeElement.value`), "the keyboard gets to the answer at once")
	press(t, ctx, `button[value="confirm"]`)
	look("confirmed")
	require.Equal(t, "rgb(31, 90, 60)", stateLook("backgroundColor"), "what is agreed is filled")
	require.Equal(t, "Confirmed", evaluate[string](t, ctx, `document.querySelector(".state").textContent`))

	act(t, ctx, chromedp.Click(chromedp.CSS(`label.time:nth-of-type(2) input`)))
	press(t, ctx, `button[value="choose"]`)
	look("moved")
	require.Equal(t, "15:00 to 16:30", evaluate[string](t, ctx, `document.querySelector(".when b").textContent`))
	moved, err := Find(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	require.Equal(t, other, moved.Slot)
	require.Equal(t, Confirmed, moved.State)

	act(t, ctx, chromedp.Click(chromedp.CSS(`summary`)))
	look("asking")
	act(t, ctx, chromedp.SendKeys(chromedp.CSS(`textarea`), "after 17:00, please"))
	press(t, ctx, `button[value="ask"]`)
	look("asked")
	asked, err := Find(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	require.Equal(t, "after 17:00, please", asked.Wish)
	var done []Act
	for _, c := range s.told() {
		done = append(done, c.Act)
	}
	require.Equal(t, []Act{ActConfirmed, ActChosen, ActAsked}, done)

	response, err = chromedp.Run(ctx, chromedp.NavigateResponse(web.URL+LinkPath(alter(token))))
	require.NoError(t, err)
	require.Equal(t, int64(404), response.Status)
	look("a link that opens nothing")
}

// keepPicture keeps a picture where LONGLEAD_PICTURES names a folder, for people to look at.
func keepPicture(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	folder := os.Getenv("LONGLEAD_PICTURES")
	if folder == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(folder, strings.ReplaceAll(name, " ", "-")+".png"), png, 0o644))
}

var (
	pdfPage  = regexp.MustCompile(`/Type\s*/Page[^s]`)
	mediaBox = regexp.MustCompile(`/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)\s*\]`)
)

// TestThePageIsPrinted: it fits two sheets of paper, without buttons.
func TestThePageIsPrinted(t *testing.T) {
	t.Parallel()
	ctx := newBrowser(t)
	s := newSchool(t)
	_, token := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"), slotAt(t, "2027-03-20", "13:00"))
	web := httptest.NewServer(s.web)
	t.Cleanup(web.Close)
	_, err := chromedp.Run(ctx, chromedp.NavigateResponse(web.URL+LinkPath(token)))
	require.NoError(t, err)
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	require.NoError(t, err)
	require.LessOrEqual(t, len(pdfPage.FindAll(pdf, -1)), 2)
	require.NotEmpty(t, mediaBox.FindSubmatch(pdf))
	act(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		return target.Call(ctx, "Emulation.setEmulatedMedia", map[string]string{"media": "print"}, nil)
	}))
	require.True(t, evaluate[bool](t, ctx, `matchMedia("print").matches`))
	require.Empty(t, evaluate[[]string](t, ctx, `[...document.querySelectorAll("button, textarea, details")].filter(e => e.getBoundingClientRect().height > 0).map(e => e.outerHTML.slice(0, 60))`))
	require.Positive(t, evaluate[float64](t, ctx, `document.querySelector(".when").getBoundingClientRect().height`))
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
	require.Greater(t, got.Passes, 8, "the rules ran")
	for _, v := range got.Violations {
		found = append(found, fmt.Sprintf("%s: %s: %.120s", v.ID, v.Help, strings.Join(strings.Fields(v.Nodes[0].HTML), " ")))
	}
	return found
}
