package console_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

// withoutScripts does the work of a day in a browser that runs none, with the keyboard alone; each step is held against the database.
func withoutScripts(t *testing.T, r *tour) {
	b := r.Browser(t, "")
	_, err := chromedp.Call(b.Ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	_, err = chromedp.Call(b.Ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
	require.NoError(t, err)
	w := &bare{Browser: b, tour: r}
	today, rounds := "/today/DRUM/"+consoletest.FlowDay, "/rounds/AMINA/"+consoletest.FlowDay
	for _, step := range []struct {
		name string
		do   func(*testing.T)
		// rows counts what the step makes one more of.
		rows string
	}{
		{"sign in", func(t *testing.T) {
			w.Open(t, "/sign-in")
			w.fill(t, "[name=login]", "rosa")
			w.fill(t, "[name=password]", consoletest.Password)
			w.send(t, "main button", `h1`)
			require.NotContains(t, w.Text(t, "h1"), "Sign in")
			require.Equal(t, "off", consoletest.Evaluate[string](t, b, `document.querySelector("[data-steps]:not([hidden])") || window.htmx ? "on" : "off"`), "no script runs")
		}, `select count(*) from people.session where person_id = (select id from people.person where login = 'rosa')`},
		{"hold a request to its place", func(t *testing.T) {
			w.Open(t, "/plan/"+r.plan+"/request/"+r.placed+"/hold?"+r.held.Encode())
			w.fill(t, "[name=note]", "asked for it")
			w.send(t, "main form[method=post] button", ".notice")
			require.Contains(t, w.Text(t, ".notice"), "is held to")
		}, `select count(*) from planner.pin where note = 'asked for it'`},
		{"report an absence", func(t *testing.T) {
			w.Open(t, today)
			w.key(t, "#report-absence summary", enter)
			w.choose(t, "#report-absence [name=trainer]", "INGA")
			w.send(t, "#report-absence button", "dl.figures")
			require.Contains(t, w.Text(t, "h1"), "INGA is away")
			w.send(t, "main form[method=post] button", ".notice")
			require.Contains(t, w.Text(t, ".notice"), "The day is kept as you saw it")
		}, `select count(*) from roster.absence where days @> '` + consoletest.FlowDay + `'::date`},
		{"log a session", func(t *testing.T) {
			w.Open(t, rounds)
			w.send(t, ".lines a.log", "#log")
			w.fill(t, "#log [name=successes]", "4")
			w.fill(t, "#log [name=trials]", "5")
			w.send(t, "#log-keep", ".notice")
			require.Contains(t, w.Text(t, "main"), "4 of 5")
		}, `select count(*) from training.session where day = '` + consoletest.FlowDay + `'`},
		{"move an appointment", func(t *testing.T) {
			w.Open(t, r.appointment+"/move?starts="+r.day+"T15:00")
			w.fill(t, "[name=reason]", "asked on the phone")
			w.send(t, "form[method=get] button", "form[method=post] [name=reason][value='asked on the phone']")
			w.send(t, "main form[method=post] button", ".notice")
			require.Contains(t, w.Text(t, ".notice"), "Moved.")
		}, `select count(*) from handover.change where why = 'asked on the phone'`},
		{"take a request down", func(t *testing.T) {
			w.Open(t, "/requests/new")
			w.fill(t, "[name=known_dog]", "D-001")
			w.fill(t, "[name='request.code']", "BARE")
			w.fill(t, "[name='request.program']", "FIRST14")
			w.day(t, "[name='request.window_first']", "2027-04-01")
			w.day(t, "[name='request.window_last']", "2027-04-20")
			w.fill(t, "[name='request.priority']", "3")
			w.choose(t, "[name='request.deposit']", "no")
			w.fill(t, "[name='travel.DRUM']", "35")
			w.send(t, "main form[method=post] button", ".notice")
		}, `select count(*) from enrollment.request where code = 'BARE'`},
		{"bring in a list", func(t *testing.T) {
			// The page that tells how far a list is comes anew by itself, without scripts too.
			page := r.manager.Upload(t, "/import", "/import", map[string][]byte{"owners.csv": []byte("code,name,email,phone\nB-1,,,\n")}).Path
			w.Open(t, page)
			w.await(t, "tr.faulty")
			w.fill(t, "tr.faulty input.wrong", "Bo Ghyll")
			w.send(t, "button[value=take]", "dl.figures dd")
			w.await(t, "a[href='/requests']")
		}, `select count(*) from enrollment.owner where code = 'B-1'`},
	} {
		t.Run("without scripts/"+step.name, func(t *testing.T) {
			before := w.count(t, step.rows)
			step.do(t)
			require.Equal(t, before+1, w.count(t, step.rows), step.rows)
		})
	}
}

// bare is a browser without scripts. Tests still ask it what a page shows.
type bare struct {
	*consoletest.Browser
	tour *tour
}

func (w *bare) count(t *testing.T, sql string) (n int) {
	t.Helper()
	require.NoError(t, w.tour.Pool.QueryRow(t.Context(), sql).Scan(&n))
	return n
}

// await waits until a page has an element.
func (w *bare) await(t *testing.T, selector string) {
	t.Helper()
	w.Await(t, "there is "+selector, fmt.Sprintf(`document.readyState === "complete" && document.querySelector(%q) !== null`, selector))
}

// focus puts the keyboard on an element, which must be one that it can reach.
func (w *bare) focus(t *testing.T, selector string) {
	t.Helper()
	w.await(t, selector)
	require.True(t, consoletest.Evaluate[bool](t, w.Browser, fmt.Sprintf(`{const e = document.querySelector(%q); e.focus(); document.activeElement === e && e.tabIndex >= 0}`, selector)), selector)
}

// fill types a text in place of what a field holds.
func (w *bare) fill(t *testing.T, selector, text string) {
	t.Helper()
	w.focus(t, selector)
	consoletest.Evaluate[bool](t, w.Browser, `document.activeElement.select(); true`)
	_, err := chromedp.Call(w.Ctx, input.InsertText, input.InsertTextParams{Text: text})
	require.NoError(t, err)
	require.Equal(t, text, w.value(t, selector))
}

// day types a day into a field for one, part by part.
func (w *bare) day(t *testing.T, selector, day string) {
	t.Helper()
	w.focus(t, selector)
	parts := strings.Split(day, "-")
	_, err := chromedp.Run(w.Ctx, chromedp.KeyEvent(parts[1]+parts[2]+parts[0]))
	require.NoError(t, err)
	require.Equal(t, day, w.value(t, selector))
}

// choose types the value of a choice.
func (w *bare) choose(t *testing.T, selector, value string) {
	t.Helper()
	w.focus(t, selector)
	word := consoletest.Evaluate[string](t, w.Browser, fmt.Sprintf(`[...document.activeElement.options].find(o => o.value === %q)?.text ?? ""`, value))
	require.NotEmpty(t, word, "%s offers %s", selector, value)
	_, err := chromedp.Run(w.Ctx, chromedp.KeyEvent(word))
	require.NoError(t, err)
	require.Equal(t, value, w.value(t, selector))
}

func (w *bare) value(t *testing.T, selector string) string {
	t.Helper()
	return consoletest.Evaluate[string](t, w.Browser, fmt.Sprintf(`document.querySelector(%q).value`, selector))
}

// key presses a key on an element.
func (w *bare) key(t *testing.T, selector string, key input.DispatchKeyEventParams) {
	t.Helper()
	w.focus(t, selector)
	press(t, w.Browser, key)
}

// send presses Enter on what sends a form, or on a link, and waits for an element of the page that comes.
func (w *bare) send(t *testing.T, selector, next string) {
	t.Helper()
	w.focus(t, selector)
	consoletest.Evaluate[bool](t, w.Browser, `window.left = true`)
	press(t, w.Browser, enter)
	w.Await(t, "another page comes with "+next, fmt.Sprintf(`!window.left && document.readyState === "complete" && document.querySelector(%q) !== null`, next))
	status := consoletest.Evaluate[int](t, w.Browser, `performance.getEntriesByType("navigation")[0].responseStatus`)
	require.Equal(t, http.StatusOK, status, w.Text(t, "main"))
}
