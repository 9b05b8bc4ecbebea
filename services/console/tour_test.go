package console_test

import (
	"context"
	"log/slog"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/assembly"
	"github.com/longlead/longlead/services/console"
	"github.com/longlead/longlead/services/console/consoletest"
	"github.com/longlead/longlead/services/console/frame"

	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// tour is a school in which every page of the console has something to show, and the way through all of them.
type tour struct {
	*consoletest.School
	// manager is signed in.
	manager *consoletest.Client
	// plan and other are drafts of March; waits and placed are requests of plan, and held is where one could be held; drafting waits for a worker.
	plan, other, drafting string
	waits, placed         string
	held                  url.Values
	// appointment is one on day at TARN, owner its private address, dog and letter what its pages show.
	appointment, day, owner, dog, letter string
	// parcel is the address of a list with faults.
	parcel string
}

// newTour makes the school. early is called when its records are there and nothing is planned.
func newTour(t testing.TB, early func(*consoletest.School)) *tour {
	t.Helper()
	r := &tour{School: consoletest.New(t, consoletest.Set{Kept: true})}
	if early != nil {
		early(r.School)
	}
	r.manager = r.As(t, "manager")
	stop := r.begin(t)
	first := r.draft(t, 1)
	calls := plannerv1.NewPlannerServiceClient(r.Conn)
	_, err := calls.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: first})
	require.NoError(t, err)
	r.appoint(t)
	r.other = r.draft(t, 2)
	r.pin(t, r.other)
	r.plan = r.draft(t, 3)
	placed := r.one(t, plannerv1.PlannedKind_PLANNED_KIND_PLACED)
	r.waits, r.placed = r.one(t, plannerv1.PlannedKind_PLANNED_KIND_WAITING).GetRequestCode(), placed.GetRequestCode()
	r.held = url.Values{"site": {placed.GetSiteCode()}, "arrival": {placed.GetArrival()}}
	stop()
	started, err := calls.DraftPlan(t.Context(), &plannerv1.DraftPlanRequest{Month: "2027-03", Seconds: 20})
	require.NoError(t, err)
	r.drafting = started.GetPlan().GetId()
	r.live(t)
	return r
}

// begin lets a worker work until the function that it returns is called.
func (r *tour) begin(t testing.TB) (stop func()) {
	t.Helper()
	client, err := r.Assembly.Worker(assembly.Work{})
	require.NoError(t, err)
	require.NoError(t, client.Start(context.WithoutCancel(t.Context())))
	return func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		require.NoError(t, client.Stop(ctx))
	}
}

// draft makes a plan of March and returns its ID.
func (r *tour) draft(t testing.TB, seed int64) string {
	t.Helper()
	calls := plannerv1.NewPlannerServiceClient(r.Conn)
	started, err := calls.DraftPlan(t.Context(), &plannerv1.DraftPlanRequest{Month: "2027-03", Seconds: 20, Iterations: 5, Seed: seed})
	require.NoError(t, err)
	plan := started.GetPlan()
	stream, err := calls.WatchDraft(t.Context(), &plannerv1.WatchDraftRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	for {
		report, err := stream.Recv()
		if err != nil {
			break
		}
		plan = report.GetPlan()
	}
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, plan.GetState(), plan.GetFailure())
	return plan.GetId()
}

// one is a request of the plan that nobody holds to a place.
func (r *tour) one(t testing.TB, which plannerv1.PlannedKind) *plannerv1.Planned {
	t.Helper()
	got, err := plannerv1.NewPlannerServiceClient(r.Conn).ListPlanned(t.Context(), &plannerv1.ListPlannedRequest{PlanId: r.plan, Which: which, Limit: 2})
	require.NoError(t, err)
	at := slices.IndexFunc(got.GetRows(), func(p *plannerv1.Planned) bool { return !p.GetPinned() })
	require.GreaterOrEqual(t, at, 0)
	return got.GetRows()[at]
}

// pin holds a request to its place, as somebody who has seen the price does.
func (r *tour) pin(t testing.TB, plan string) {
	t.Helper()
	r.plan = plan
	row := r.one(t, plannerv1.PlannedKind_PLANNED_KIND_PLACED)
	at := url.Values{"site": {row.GetSiteCode()}, "arrival": {row.GetArrival()}}
	request := "/plan/" + plan + "/request/" + url.PathEscape(row.GetRequestCode())
	page := r.manager.Get(t, request+"/hold?"+at.Encode())
	found := regexp.MustCompile(`name="fingerprint" value="([^"]+)"`).FindStringSubmatch(page.Body)
	require.NotNil(t, found, page.Body)
	kept := r.manager.Post(t, request, request+"/hold", url.Values{"site": at["site"], "arrival": at["arrival"], "fingerprint": {found[1]}, "note": {"the owner flies out"}})
	require.Contains(t, kept.Body, "is held to")
}

// appoint gives the handovers of March at TARN their times, and looks for one that is still to come on the day of flows.
func (r *tour) appoint(t testing.TB) {
	t.Helper()
	got, err := graduationv1.NewGraduationServiceClient(r.Conn).ArrangeHandovers(t.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: "TARN", Month: "2027-03"})
	require.NoError(t, err)
	at := slices.IndexFunc(got.GetArranged(), func(a *graduationv1.Arranged) bool { return a.GetOffers() > 0 && a.GetDay() > "2027-03-15" })
	require.GreaterOrEqual(t, at, 0)
	r.day = got.GetArranged()[at].GetDay()
	read, err := handoverv1.NewHandoverServiceClient(r.Conn).ReadHandover(t.Context(), &handoverv1.ReadHandoverRequest{Which: got.GetArranged()[at].GetRequestCode()})
	require.NoError(t, err)
	r.appointment = "/appointment/" + read.GetAppointment().GetId()
	link := r.manager.Post(t, r.appointment, r.appointment+"/link", nil)
	found := regexp.MustCompile(`https://dogs\.example\.com(/handover/[A-Za-z0-9_-]+)`).FindStringSubmatch(link.Body)
	require.NotNil(t, found)
	r.owner = found[1]
	letters, err := mailv1.NewMailServiceClient(r.Conn).ListLetters(t.Context(), &mailv1.ListLettersRequest{})
	require.NoError(t, err)
	require.NotEmpty(t, letters.GetLetters())
	r.letter = "/letters/" + letters.GetLetters()[0].GetId()
}

// live moves the school's clock to the day of flows, on which a session was logged and a list with faults has come.
func (r *tour) live(t testing.TB) {
	t.Helper()
	consoletest.PlanFlowDay(t, r.School)
	r.manager = r.As(t, "manager") // visits of two weeks ago are over
	require.NoError(t, r.Pool.QueryRow(t.Context(), `select d.code from planner.stay s join enrollment.request r on r.id = s.request_id join enrollment.dog d on d.id = r.dog_id
		where s.state = 'in residence' and s.nights @> $1::date order by (select count(*) from training.session l where l.dog_id = d.id) desc, d.code limit 1`, consoletest.FlowDay).Scan(&r.dog))
	reply := r.manager.Upload(t, "/import", "/import", map[string][]byte{"owners.csv": []byte("code,name,email,phone\nX-1,,,\nX-2,Cy Fell,cy at home,\n")})
	r.parcel = reply.Path
	require.Eventually(t, func() bool { return strings.Contains(r.manager.Get(t, r.parcel).Body, "something has to be mended") }, time.Minute, 50*time.Millisecond)
}

// stop is one page on the way.
type stop struct {
	// pattern is the address as the console has it; "owner" for the page that is not the console's.
	pattern, path string
}

// stops are pages by their pattern, in the order of the school's work.
func (r *tour) stops() []stop {
	plan, request := "/plan/"+r.plan, "/plan/"+r.plan+"/request/"
	waits, placed, dog := url.PathEscape(r.waits), url.PathEscape(r.placed), url.PathEscape(r.dog)
	today, rounds := "/today/DRUM/"+consoletest.FlowDay, "/rounds/AMINA/"+consoletest.FlowDay
	handovers := "/handovers/TARN/" + r.day
	return []stop{
		{"GET /sign-in", "/sign-in"}, {"GET /password", "/password"},
		{"GET /month/{month}", "/month/2027-03"}, {"GET /month/{month}", "/month/2027-07"}, {"GET /month/{month}/moves", "/month/2027-03/moves"},
		{"GET /plan/{id}", plan}, {"GET /plan/{id}/progress", "/plan/" + r.drafting + "/progress"}, {"GET /plan/{id}/site/{site}", plan + "/site/DRUM"},
		{"GET /plan/{id}/requests", plan + "/requests"},
		{"GET /plan/{id}/request/{code}", request + placed}, {"GET /plan/{id}/request/{code}", request + waits},
		{"GET /plan/{id}/request/{code}/hold", request + placed + "/hold?" + r.held.Encode()}, {"GET /plan/{id}/request/{code}/wish", request + waits + "/wish?first=2027-03-01&last=2027-03-20&site=TARN"},
		{"GET /plan/{id}/compare/{other}", plan + "/compare/" + r.other}, {"GET /plan/{id}/worth", plan + "/worth"}, {"GET /plan/{id}/promise", plan + "/promise"},
		{"GET /today", "/today"}, {"GET /today/{site}/{day}", today}, {"GET /today/{site}/{day}", today + "?by=area"}, {"GET /today/{site}/{day}", "/today/DRUM/2027-03-12"},
		{"GET /today/{site}/{day}/risk", today + "/risk"}, {"GET /today/{site}/{day}/absence", today + "/absence?trainer=AMINA&kind=sickness&from=11:00"},
		{"GET /today/{site}/{day}/closure", today + "/closure?area=barn-hall&from=11:00&to=15:00&reason=a+burst+pipe"},
		{"GET /today/{site}/{day}/forecast", today + "/forecast?from=12:00&to=15:00&degrees=98.5&unit=F&humidity=55&source=the+office"},
		{"GET /rounds", "/rounds"}, {"GET /rounds/{trainer}/{day}", rounds}, {"GET /rounds/{trainer}/{day}", rounds + "?log=0"}, {"GET /rounds/{trainer}/{day}/sheet", rounds + "/sheet"},
		{"GET /dog/{code}", "/dog/" + dog}, {"GET /dog/{code}/extend", "/dog/" + dog + "/extend"}, {"GET /dog/{code}/isolate", "/dog/" + dog + "/isolate?from=" + consoletest.FlowDay},
		{"GET /requests", "/requests"}, {"GET /requests/new", "/requests/new"}, {"GET /request/{code}", "/request/" + waits}, {"GET /request/{code}", "/request/" + placed},
		{"GET /import", "/import"}, {"GET /import/{id}", r.parcel},
		{"GET /handovers/{site}/{day}", handovers}, {"GET /handovers/{site}/{day}/times", handovers + "/times"}, {"GET /appointment/{id}", r.appointment},
		{"GET /appointment/{id}/move", r.appointment + "/move?starts=" + r.day + "T15:00"},
		{"GET /letters", "/letters"}, {"GET /letters/{id}", r.letter}, {"GET /letter-words", "/letter-words"}, {"GET /letter-times", "/letter-times"}, {"GET /letter-words/{kind}", "/letter-words/handover-invitation"},
		{"GET /school", "/school"}, {"GET /school/policy", "/school/policy"}, {"GET /school/{kind}", "/school/skills"},
		{"GET /school/{kind}/record", "/school/sites/record?key=DRUM"}, {"GET /people", "/people"}, {"GET /people/{login}", "/people/ingo"},
		{"owner", r.owner},
	}
}

// noPage are addresses that answer with no page of their own, and what they do.
var noPage = map[string]string{
	"GET /{$}": "leads on", "GET /month": "leads on", "GET /today/{site}": "leads on", "GET /rounds/{trainer}": "leads on", "GET /handovers": "leads on", "GET /plan/{id}/compare": "leads on",
	"GET /plan/{id}/events": "a stream", "GET /month/{month}/moves/{study}/events": "a stream", "GET /import/{id}/events": "a stream",
	"GET /import/{id}/rejected/{number}": "a file", "GET /import/{id}/mended/{number}": "a file", "GET /school/export": "a file", "GET /school/{kind}/template": "a file",
	"GET /school/{kind}/export": "a file", "GET /static/{stamp}/{file}": "a file", "GET /rounds-worker.js": "a file", "GET /school/codes": "a part of a form", "GET /rounds-token": "a word for a script",
}

// routes are the patterns of the console's pages that look and change nothing.
func routes(t testing.TB) (patterns []string) {
	t.Helper()
	as := func(ctx context.Context, _, _ string) (context.Context, error) { return ctx, nil }
	for _, p := range console.New(frame.Deps{Door: consoletest.NewDoor(), As: as, Now: time.Now, Log: slog.New(slog.DiscardHandler)}).Pages(nil) {
		if strings.HasPrefix(p.Pattern, "GET ") {
			patterns = append(patterns, p.Pattern)
		}
	}
	require.Greater(t, len(patterns), 40)
	return patterns
}

// TestTheTourLeavesNoPageOut: a page that is added must be shown on the tour, or be told why it is none.
func TestTheTourLeavesNoPageOut(t *testing.T) {
	t.Parallel()
	shown := map[string]bool{}
	for _, s := range (&tour{}).stops() {
		shown[s.pattern] = true
	}
	all := routes(t)
	for _, pattern := range all {
		require.True(t, shown[pattern] != (noPage[pattern] != ""), "%s has a stop on the tour, or stands in noPage", pattern)
		delete(shown, pattern)
	}
	require.Equal(t, map[string]bool{"owner": true}, shown, "no stop is at an address that is gone")
	for pattern := range noPage {
		require.Contains(t, all, pattern)
	}
}
