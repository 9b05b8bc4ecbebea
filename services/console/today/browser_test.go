package today_test

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

func TestPagesOfADay(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	_, err := s.Pool.Exec(t.Context(), `insert into facility.area_closure (id, area_id, starts_at, ends_at, reason)
		select gen_random_uuid(), a.id, '2027-03-09 12:00-06', '2027-03-09 14:00-06', 'new floor' from facility.area a where a.code = 'front-yard'`)
	require.NoError(t, err)
	_, err = s.Pool.Exec(t.Context(), `insert into facility.forecast (site_id, hour, temperature_tenths, unit, humidity, source)
		select s.id, h, 960, 'F', 50, 'the office' from facility.site s, generate_series('2027-03-09 13:00-06'::timestamptz, '2027-03-09 15:00-06', '1 hour') h where s.code = 'DRUM'
		on conflict (site_id, hour) do update set temperature_tenths = 960, humidity = 50, source = 'the office'`)
	require.NoError(t, err)
	b := s.Browser(t, "site-lead")
	b.Judge(t, "today", path)
	b.Judge(t, "today-area", path+"?by=area")
	b.Open(t, path)
	b.Await(t, "who may not be ready is there", `document.querySelector("#risk .caution")?.innerText.includes("95 % interval")`)
	b.JudgeHere(t, "today-risk", 1280)
	b.Judge(t, "today-risk-page", path+"/risk")
	b.Judge(t, "today-no-plan", "/today/DRUM/2027-03-12")
	b.Judge(t, "today-absence", path+"/absence?trainer=AMINA&kind=sickness&from=11:00")
	b.Size(t, 640, 400) // a window of 1280 at 200 %
	b.Open(t, path)
	b.JudgeHere(t, "today-200", 640)
	b.Size(t, 1280, 800)
	b.Open(t, path)
	for _, paper := range []string{"A4", "Letter"} {
		require.LessOrEqual(t, b.Print(t, "today", paper), 9)
	}
}

// TestByKeyboard reports an absence without a mouse.
func TestByKeyboard(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	b := s.Browser(t, "site-lead")
	b.Open(t, path)
	press := func(keys string) {
		t.Helper()
		_, err := chromedp.Run(b.Ctx, chromedp.KeyEvent(keys))
		require.NoError(t, err)
	}
	// reach presses Tab until an element has the focus, and requires a ring that one can see.
	reach := func(selector string) {
		t.Helper()
		for range 120 {
			press(kb.Tab)
			if consoletest.Evaluate[bool](t, b, `document.activeElement.matches(`+"`"+selector+"`"+`)`) {
				require.NotEqual(t, "none", consoletest.Evaluate[string](t, b, `getComputedStyle(document.activeElement).outlineStyle`), selector)
				return
			}
		}
		t.Fatalf("%s cannot be reached by Tab", selector)
	}
	reach("#report-absence summary")
	press(kb.Enter)
	reach("#report-absence [name=trainer]")
	press("Inga")
	reach("#report-absence button")
	press(kb.Enter)
	b.Await(t, "what it changes is shown", `document.querySelector("h1").innerText.includes("INGA is away")`)
	reach("main form[method=post] button")
	press(kb.Enter)
	b.Await(t, "it is kept", `document.querySelector(".notice")?.innerText.includes("The day is kept as you saw it")`)
}
