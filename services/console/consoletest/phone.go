package consoletest

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// SetClock makes the browser's clock show another time, in pages that are opened from now on.
func (b *Browser) SetClock(t testing.TB, now time.Time) {
	t.Helper()
	_, err := chromedp.Call(b.Ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: fmt.Sprintf(`
		{ const real = Date, off = %d - real.now();
		  Date = class extends real { constructor(...a) { if (a.length) super(...a); else super(real.now() + off); } static now() { return real.now() + off; } }; }`, now.UnixMilli())})
	require.NoError(t, err)
}

// Offline takes the connection away from the page and its worker, or gives it back.
func (b *Browser) Offline(t testing.TB, away bool) {
	t.Helper()
	_, err := chromedp.Call(b.Ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{EmulateOfflineServiceWorker: &away,
		MatchedNetworkConditions: []*network.Conditions{{Offline: away, DownloadThroughput: -1, UploadThroughput: -1}}})
	require.NoError(t, err)
	_, err = chromedp.Call(b.Ctx, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: away, DownloadThroughput: -1, UploadThroughput: -1})
	require.NoError(t, err)
}

// Again loads the page anew, whoever answers: the server or what is kept on the phone.
func (b *Browser) Again(t testing.TB) {
	t.Helper()
	Evaluate[bool](t, b, `window.wasHere = true`)
	_, err := chromedp.Run(b.Ctx, chromedp.Evaluate[bool](`location.reload(); true`))
	require.NoError(t, err)
	b.Await(t, "the page is there again", `!window.wasHere && document.readyState === "complete"`)
}

// Become signs another person in, in place of who was.
func (b *Browser) Become(t testing.TB, s *School, role string) {
	t.Helper()
	b.become(t, s.As(t, role))
}
