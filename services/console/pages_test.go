package console_test

import (
	_ "embed"
	"fmt"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

//go:embed testdata/walk.js
var walkScript string

// TestEveryPage takes one browser through every page: by keyboard alone, enlarged, and as it is printed; another one, without scripts, does the work of a day.
func TestEveryPage(t *testing.T) {
	t.Parallel()
	r := newTour(t, nil)
	b := r.Browser(t, "manager")
	b.SetClock(t, consoletest.FlowNow)
	_, err := chromedp.Call(b.Ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
	require.NoError(t, err)
	for i, s := range r.stops() {
		t.Run(fmt.Sprintf("%02d %s", i, s.path), func(t *testing.T) {
			b.Size(t, 1280, 800)
			b.Open(t, s.path)
			b.Await(t, "all parts are there", `document.readyState === "complete" && !document.querySelector(".htmx-request") && !document.querySelector("[hx-trigger=load] > p:only-child > a:only-child")`)
			consoletest.Evaluate[bool](t, b, walkScript)
			byKeyboard(t, b)
			enlarged(t, b)
			onPaper(t, b)
			for _, paper := range []string{"A4", "Letter"} {
				require.LessOrEqual(t, b.Print(t, fmt.Sprintf("page-%02d", i), paper), 20, "sheets of %s", paper)
			}
		})
	}
	withoutScripts(t, r)
}

// reached is one stop of the Tab key.
type reached struct {
	Slot  int
	Fault string
}

// byKeyboard walks through the page with Tab, and back with Shift and Tab, and presses what can be pressed.
func byKeyboard(t *testing.T, b *consoletest.Browser) {
	t.Helper()
	count, slow := consoletest.Evaluate[int](t, b, `walk.count`), consoletest.Evaluate[int](t, b, `walk.slow`)
	require.Greater(t, count, 1)
	for _, back := range []bool{false, true} {
		names := func(i int) string { return consoletest.Evaluate[[]string](t, b, `walk.names()`)[i] }
		consoletest.Evaluate[bool](t, b, fmt.Sprintf(`walk.from(%t)`, back))
		var stops []int
		for pressed := 0; len(stops) < count && pressed < count+slow+4; {
			for range min(count-len(stops), 40) {
				tab(t, b, back)
				pressed++
			}
			stops = stops[:0]
			for _, at := range consoletest.Evaluate[[]reached](t, b, `walk.log()`) {
				require.Empty(t, at.Fault)
				if len(stops) == 0 || stops[len(stops)-1] != at.Slot {
					stops = append(stops, at.Slot)
				}
			}
		}
		for i := range count {
			want := i
			if back {
				want = count - 1 - i
			}
			require.Greater(t, len(stops), i, "the way ends before %s", names(want))
			require.Equal(t, want, stops[i], "back: %t; %s comes after stop %d", back, names(want), i-1)
		}
	}
	require.Empty(t, consoletest.Evaluate[[]string](t, b, `walk.hidden()`))
	pressed(t, b)
	skips(t, b)
}

// tab presses the Tab key, with Shift to go back.
func tab(t *testing.T, b *consoletest.Browser, back bool) {
	t.Helper()
	p := input.DispatchKeyEventParams{Type: "rawKeyDown", Key: "Tab", Code: "Tab", WindowsVirtualKeyCode: 9}
	if back {
		p.Modifiers = 8
	}
	press(t, b, p)
}

func press(t *testing.T, b *consoletest.Browser, p input.DispatchKeyEventParams) {
	t.Helper()
	_, err := chromedp.Call(b.Ctx, input.DispatchKeyEvent, p)
	require.NoError(t, err)
	_, err = chromedp.Call(b.Ctx, input.DispatchKeyEvent, input.DispatchKeyEventParams{Type: "keyUp", Key: p.Key, Code: p.Code, WindowsVirtualKeyCode: p.WindowsVirtualKeyCode})
	require.NoError(t, err)
}

var (
	enter = input.DispatchKeyEventParams{Type: "keyDown", Key: "Enter", Code: "Enter", Text: "\r", WindowsVirtualKeyCode: 13}
	space = input.DispatchKeyEventParams{Type: "keyDown", Key: " ", Code: "Space", Text: " ", WindowsVirtualKeyCode: 32}
)

// pressed presses Enter on every button of the page, and Space where people press that; nothing is sent.
func pressed(t *testing.T, b *consoletest.Browser) {
	t.Helper()
	acts := consoletest.Evaluate[[]string](t, b, `walk.holding = true; walk.acts.map(e => e.tagName)`)
	for i, tag := range acts {
		consoletest.Evaluate[bool](t, b, fmt.Sprintf(`walk.clicks.length = 0; walk.acts[%d].focus(); true`, i))
		want := []bool{true}
		press(t, b, enter)
		if tag != "A" {
			press(t, b, space)
			want = append(want, true)
		}
		require.Equal(t, want, consoletest.Evaluate[[]bool](t, b, `walk.clicks`), "Enter and Space press %s", consoletest.Evaluate[string](t, b, fmt.Sprintf(`walk.acts[%d].outerHTML`, i)))
	}
	consoletest.Evaluate[bool](t, b, `walk.holding = false; true`)
}

// skips uses the link that leads past the bar, where there is a bar.
func skips(t *testing.T, b *consoletest.Browser) {
	t.Helper()
	if !consoletest.Evaluate[bool](t, b, `document.querySelector("header.bar") !== null`) {
		return
	}
	consoletest.Evaluate[bool](t, b, `walk.from(false)`)
	tab(t, b, false)
	require.True(t, consoletest.Evaluate[bool](t, b, `document.activeElement.matches(".skip") && document.activeElement.getBoundingClientRect().left > 0`), "the first stop leads past the bar, and is seen")
	press(t, b, enter)
	require.Equal(t, "main", consoletest.Evaluate[string](t, b, `document.activeElement.id`))
	tab(t, b, false)
	require.True(t, consoletest.Evaluate[bool](t, b, `document.activeElement === document.body || document.querySelector("main").contains(document.activeElement)`))
}

// enlarged looks at the page at twice the size, once as browsers enlarge it and once with letters alone twice as large: nothing is cut off, and the
// page does not scroll sideways.
func enlarged(t *testing.T, b *consoletest.Browser) {
	t.Helper()
	consoletest.Evaluate[bool](t, b, `document.activeElement.blur(); document.documentElement.style.fontSize = "200%"; true`)
	require.Empty(t, consoletest.Evaluate[[]string](t, b, `walk.faults()`), "letters of twice the size")
	consoletest.Evaluate[bool](t, b, `document.documentElement.style.fontSize = ""; true`)
	consoletest.Run(t, b, chromedp.EmulateViewport(640, 400, chromedp.EmulateScale(2)))
	require.Empty(t, consoletest.Evaluate[[]string](t, b, `walk.faults()`), "a window of 1280 at 200 %%")
	b.Size(t, 320, 640)
	require.Empty(t, consoletest.Evaluate[[]string](t, b, `walk.faults()`), "a window of 1280 at 400 %%")
}

// onPaper looks at the page as it is printed on A4, the narrower of the papers: nothing is cut off or has to be made smaller, no field or button is
// left, and what one must know before touching a dog is unfolded.
func onPaper(t *testing.T, b *consoletest.Browser) {
	t.Helper()
	paper := func(media string) {
		_, err := chromedp.Call(b.Ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: media})
		require.NoError(t, err)
	}
	paper("print")
	defer paper("")
	b.Size(t, 703, 1030) // 186 mm between the margins
	require.Empty(t, consoletest.Evaluate[[]string](t, b, `walk.faults()`), "on paper")
	require.Empty(t, consoletest.Evaluate[[]string](t, b, `[...document.querySelectorAll("main input:not([type=hidden]), main select, main textarea, main button, main .dog ul")]
		.filter(e => e.checkVisibility({visibilityProperty: true}) === e.matches("input, select, textarea, button")).map(e => e.outerHTML.slice(0, 100))`), "on paper")
}
