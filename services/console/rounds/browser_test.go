package rounds_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

func TestPagesOfADay(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	b := s.Browser(t, "trainer")
	b.SetClock(t, at)
	b.Judge(t, "rounds", path)
	b.Judge(t, "rounds-log", path+"?log=0")
	b.Judge(t, "rounds-no-plan", "/rounds/AMINA/2027-03-10")
	b.Size(t, 640, 400) // a window of 1280 at 200 %
	b.Open(t, path)
	b.JudgeHere(t, "rounds-200", 640)
	for _, paper := range []string{"A4", "Letter"} {
		b.Open(t, path+"/sheet?paper="+paper)
		require.Equal(t, 1, b.Print(t, "rounds-sheet", paper))
		b.Open(t, path)
		require.LessOrEqual(t, b.Print(t, "rounds", paper), 3)
	}
	b.Become(t, s, "site-lead")
	b.Judge(t, "rounds-choice", "/rounds")
}

// TestWhatIsRefusedCanBeCorrected: a phone whose clock is days ahead is told so, in words, and the session is written anew.
func TestWhatIsRefusedCanBeCorrected(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	b := s.Browser(t, "trainer")
	b.Size(t, 360, 740)
	b.SetClock(t, at.Add(72*time.Hour))
	b.Open(t, path)
	b.Await(t, "the clock is told", `document.querySelector("#signal").innerText.includes("clock is 4320 min ahead")`)
	b.Await(t, "the form is wired", `document.querySelector("[data-steps]")?.hidden === false`)
	logLast := `document.querySelectorAll(".lines a.log")[document.querySelectorAll(".lines a.log").length - 1].click(); true`
	consoletest.Evaluate[bool](t, b, logLast)
	b.Click(t, "[data-trial='1']")
	b.Click(t, "#log-keep")
	b.Await(t, "it is refused in words", `document.querySelector("#held .fault")?.innerText.includes("24 hours ahead")`)
	require.Zero(t, sessions(t, s))
	b.JudgeHere(t, "rounds-refused", 360)
	b.Click(t, "#held .mend")
	b.Fill(t, "[name=at]", "10:10")
	b.Click(t, "#log-keep")
	b.Await(t, "it is sent", `document.querySelector("#held .state.sent") !== null && !document.querySelector("#held .fault")`)
	require.Equal(t, 1, sessions(t, s))
}

// TestKeptForWhoWroteIt: a session that ended meanwhile loses nothing; somebody else sees and sends nothing of it; signing out asks first.
func TestKeptForWhoWroteIt(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	b := s.Browser(t, "trainer")
	b.Size(t, 360, 740)
	b.SetClock(t, at)
	b.Open(t, path)
	b.Await(t, "the page is kept", `document.querySelector("[data-rounds]")?.dataset.kept === "yes"`)
	logOne := func(note string) {
		b.Click(t, ".lines a.log")
		b.Click(t, "[data-trial='1']")
		b.Fill(t, "[name=note]", note)
		b.Click(t, "#log-keep")
	}
	// Her session ends on the server, as it does after a while.
	s.EndSession(t, "trainer")
	logOne("mine alone")
	b.Await(t, "she is asked to sign in", `document.querySelector("#signal a")?.getAttribute("href").startsWith("/sign-in")`)
	require.Zero(t, sessions(t, s))

	// Somebody else signs in on the phone.
	b.Open(t, "/sign-in?back=/rounds/INGA/"+day)
	b.Fill(t, "[name=login]", "ingo")
	b.Fill(t, "[name=password]", consoletest.Password)
	b.Click(t, "main button")
	b.Await(t, "he is in", `location.pathname === "/rounds/INGA/`+day+`" && document.querySelector("[data-rounds]")?.dataset.kept === "yes"`)
	require.NotContains(t, b.Text(t, "body"), "mine alone")
	require.Zero(t, sessions(t, s), "what she wrote is not sent as his")
	require.False(t, consoletest.Evaluate[bool](t, b, `caches.open("longlead-pages").then(c => c.match("`+path+`")).then(r => Boolean(r))`), "her day is not kept for him")

	// Signing out would lose it: it is said before.
	b.Click(t, "form[action='/sign-out'] button")
	b.Await(t, "he is asked", `document.querySelector("dialog[open]")?.innerText.includes("1 session is kept on this phone and not sent")`)
	b.JudgeHere(t, "rounds-sign-out", 360)
	b.Click(t, "dialog button")
	b.Await(t, "he stays", `document.querySelector("dialog") === null`)

	// She comes back.
	b.Open(t, "/sign-in?back="+path)
	b.Fill(t, "[name=login]", "amina")
	b.Fill(t, "[name=password]", consoletest.Password)
	b.Click(t, "main button")
	b.Await(t, "it is sent", `location.pathname === "`+path+`" && Array.from(document.querySelectorAll("#held li")).some(li => li.innerText.includes("mine alone") && li.innerText.includes("sent"))`)
	require.Equal(t, 1, sessions(t, s))
}

// TestTimesOfSessions: a block of today that is over ended when it was to; one that is on ends now; on the page of another day the time that is
// written counts.
func TestTimesOfSessions(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	b := s.Browser(t, "trainer")
	b.Size(t, 360, 740)
	b.SetClock(t, at.Add(-7*time.Minute)) // the phone's clock is behind
	b.Open(t, path)
	ready := func() {
		t.Helper()
		b.Await(t, "the form is wired", `document.querySelector("[data-steps]")?.hidden === false`)
	}
	ready()
	logged := func(note, opener string, more func()) string {
		t.Helper()
		b.Click(t, opener)
		b.Click(t, "[data-trial='1']")
		b.Fill(t, "[name=note]", note)
		if more != nil {
			more()
		}
		b.Click(t, "#log-keep")
		b.Await(t, note+" is sent", `Array.from(document.querySelectorAll("#held li")).some(li => li.innerText.includes("`+note+`") && li.innerText.includes("sent"))`)
		var when string
		require.NoError(t, s.Pool.QueryRow(t.Context(), `select to_char(trained_at at time zone 'America/Chicago', 'YYYY-MM-DD HH24:MI') from training.session where note = $1`, note).Scan(&when))
		return when
	}
	first := consoletest.Evaluate[int64](t, b, `Number(document.querySelector("[data-log]").dataset.to)`)
	require.Equal(t, time.UnixMilli(first).Add(-7*time.Minute).UTC().Add(-6*time.Hour).Format("2006-01-02 15:04"), logged("over", ".lines a.log", nil), "by the device's clock, as it is kept")
	consoletest.Evaluate[bool](t, b, `Array.from(document.querySelectorAll("[data-log]")).find(l => Number(l.dataset.to) > Number(document.querySelector("[data-now]").dataset.now) + 6e5).querySelector("a.log").id = "later"; true`)
	require.Equal(t, "2027-03-09 10:13", logged("on", "#later", nil))
	b.Open(t, "/rounds/AMINA/2027-03-08")
	ready()
	var dog, skill string
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select d.code, k.code from enrollment.dog d, training.skill k limit 1`).Scan(&dog, &skill))
	require.Equal(t, "2027-03-08 15:30", logged("yesterday", "a.button.quiet[data-entry]", func() {
		b.Fill(t, "[name=dog]", dog)
		b.Fill(t, "[name=skill]", skill)
		b.Fill(t, "[name=at]", "15:30")
	}))
}
