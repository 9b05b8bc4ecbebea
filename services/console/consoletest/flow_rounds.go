package consoletest

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// The day of flows is a Tuesday on which AMINA works at DRUM, in Chicago; FlowNow is its 10:20 there.
const FlowDay = "2027-03-09"

// FlowNow is when flows begin.
var FlowNow = time.Date(2027, 3, 9, 16, 20, 0, 0, time.UTC)

// PlanFlowDay plans the day of flows at DRUM and sets the school's clock to it.
func PlanFlowDay(t testing.TB, s *School) {
	t.Helper()
	s.SetNow(FlowNow)
	_, err := dayplanv1.NewDayPlanServiceClient(s.Conn).PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: "DRUM", Day: FlowDay, LimitMs: 400, EvenIfBegun: true})
	require.NoError(t, err)
}

// logged are AMINA's sessions of the day that count, as the database has them.
func (s *School) logged(t testing.TB) []*trainingv1.Session {
	t.Helper()
	got, err := trainingv1.NewTrainingServiceClient(s.Conn).ListTrainerSessions(t.Context(), &trainingv1.ListTrainerSessionsRequest{TrainerCode: "AMINA", Day: FlowDay})
	require.NoError(t, err)
	return got.GetSessions()
}

// held counts the sessions of the day that count, by note.
func (s *School) held(t testing.TB, note string) (n, passed int) {
	t.Helper()
	for _, x := range s.logged(t) {
		if x.GetNote() == note {
			n, passed = n+1, passed+int(x.GetSuccesses())
		}
	}
	return n, passed
}

// tapSession opens the form of the nth line that can be logged, taps so many trials of which some passed, and logs it with a note.
func (b *Browser) tapSession(t testing.TB, nth, passed, missed int, note string) {
	t.Helper()
	Evaluate[bool](t, b, fmt.Sprintf(`document.querySelectorAll(".lines a.log")[%d].click(); true`, nth))
	b.Await(t, "the form is there", `document.querySelector(".rounds").classList.contains("logging")`)
	for range passed {
		b.Click(t, "[data-trial='1']")
	}
	for range missed {
		b.Click(t, "[data-trial='0']")
	}
	b.Click(t, "[name=distraction][value='1']")
	b.Click(t, "[name=settled][value='2']")
	b.Fill(t, "[name=note]", note)
	b.Click(t, "#log-keep")
	b.Await(t, "the form is gone", `!document.querySelector(".rounds").classList.contains("logging")`)
}

// TrainerFlow is a trainer's day on a phone: logging with a connection, without one, after the page was loaded anew without one, and sending when it
// is back. s must be a school whose day PlanFlowDay has planned. Each step is held against the page and the database.
func TrainerFlow(t testing.TB, s *School) {
	t.Helper()
	b := s.Browser(t, "trainer")
	b.SetClock(t, FlowNow)
	b.Size(t, 360, 740)
	b.Open(t, "/rounds")
	b.Await(t, "the page is kept on the phone", `document.querySelector("[data-rounds]")?.dataset.kept === "yes"`)
	require.Contains(t, b.Text(t, "h1"), "Amina Thorne")
	require.Contains(t, b.Text(t, "#before"), "Before you touch a dog")

	b.tapSession(t, 0, 4, 1, "with a connection")
	b.Await(t, "it is sent", `document.querySelector("#held .state.sent") !== null`)
	n, passed := s.held(t, "with a connection")
	require.Equal(t, []int{1, 4}, []int{n, passed})
	b.Picture(t, "flow-rounds-sent")

	b.Offline(t, true)
	b.tapSession(t, 1, 2, 0, "without a connection")
	b.Await(t, "it is kept", `document.querySelector("#held .state.kept")?.textContent === "kept on this phone"`)
	b.Await(t, "and said", `document.querySelector("#signal").innerText.includes("1 session is kept on this phone")`)
	n, _ = s.held(t, "without a connection")
	require.Zero(t, n)
	b.Again(t) // the phone was put away
	b.Await(t, "the day is there without a connection", `document.querySelectorAll(".lines li").length > 3`)
	b.Await(t, "and what was kept", `document.querySelector("#held .state.kept") !== null`)
	b.Picture(t, "flow-rounds-offline")
	b.tapSession(t, 2, 1, 1, "without a connection too")
	b.Await(t, "both are kept", `document.querySelectorAll("#held .state.kept").length === 2`)

	b.Offline(t, false)
	Evaluate[bool](t, b, `window.dispatchEvent(new Event("online")); true`)
	b.Await(t, "all is sent", `document.querySelectorAll("#held .state.kept").length === 0 && document.querySelector("#signal").hidden`)
	for note, want := range map[string][]int{"with a connection": {1, 4}, "without a connection": {1, 2}, "without a connection too": {1, 1}} {
		n, passed = s.held(t, note)
		require.Equal(t, want, []int{n, passed}, note)
	}
	sendAgain(t, s, b)

	// A correction, by the same form.
	Evaluate[bool](t, b, `Array.from(document.querySelectorAll("#held li")).find(li => !li.hidden && li.innerText.includes("with a connection") && !li.innerText.includes("without")).querySelector(".mend").click(); true`)
	b.Await(t, "the form is filled", `document.querySelector("[name=trials]").value === "5"`)
	b.Click(t, "[data-trial='1']")
	b.Click(t, "#log-keep")
	b.Await(t, "the correction is shown and sent", `Array.from(document.querySelectorAll("#held li")).some(li => !li.hidden && li.innerText.includes("5 of 6") && li.innerText.includes("sent"))`)
	n, passed = s.held(t, "with a connection")
	require.Equal(t, []int{1, 5}, []int{n, passed})
}

// sendAgain makes the phone send all it has once more, as after an answer that was lost: nothing is logged twice.
func sendAgain(t testing.TB, s *School, b *Browser) {
	t.Helper()
	before := s.logged(t)
	Evaluate[bool](t, b, `new Promise((done, fail) => { const r = indexedDB.open("longlead-rounds", 1); r.onerror = fail; r.onsuccess = () => {
		const tx = r.result.transaction("sessions", "readwrite"), store = tx.objectStore("sessions"), got = store.getAll();
		got.onsuccess = () => { for (const x of got.result) store.put({...x, state: "kept"}); };
		tx.oncomplete = () => { r.result.close(); done(true); }; }; })`)
	Evaluate[bool](t, b, `window.dispatchEvent(new Event("online")); true`)
	b.Await(t, "all is sent once more", `document.querySelector("#signal").hidden && !document.querySelector("#held .state.kept") && document.querySelectorAll("#held .state.sent").length > 0`)
	require.Len(t, s.logged(t), len(before))
}
