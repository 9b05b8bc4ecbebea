package planner_test

import (
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/planner"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

const module4 = "UF, Shelter Animal Physical Health, Module 4 (read): most viruses of cough are shed for less than 14 days; known agents incubate up to 7 days, distemper about 2 weeks; the days are computed from that"

// TestOutsideIsolationDays: cough on day 5, isolate to day 19; contacts are watched for 7 days, for 14 if distemper is suspected.
func TestOutsideIsolationDays(t *testing.T) {
	t.Parallel()
	rules, day5 := planner.DefaultHealthRules(), calendar.MustDate("2027-03-05")
	outside.Check(t, "cough on day 5 of the month: out of isolation on day", module4, 19, rules.Isolated(day5).To.Day())
	outside.Check(t, "days of watching those near it", module4, 7, rules.Watched(day5, "").Nights())
	outside.Check(t, "days of watching them when distemper is suspected", module4, 14, rules.Watched(day5, planner.SuspectedDistemper).Nights())
	require.Equal(t, day5, rules.Isolated(day5).From)
}

func (s *school) previewIsolation(t *testing.T, dog string, ask *plannerv1.IsolationAsk) *plannerv1.IsolationPlan {
	t.Helper()
	before := s.digest(t)
	got, err := s.mend.PreviewIsolation(t.Context(), &plannerv1.PreviewIsolationRequest{DogCode: dog, Isolation: ask})
	require.NoError(t, err)
	require.Equal(t, before, s.digest(t), "a preview changes nothing")
	return got.GetPlan()
}

func (s *school) isolate(t *testing.T, dog string, ask *plannerv1.IsolationAsk, fingerprint string) error {
	t.Helper()
	_, err := s.mend.IsolateDog(t.Context(), &plannerv1.IsolateDogRequest{DogCode: dog, Isolation: ask, Fingerprint: fingerprint, Reason: "coughs"})
	return err
}

// TestIsolation follows a dog that coughs on 5 March through isolation, and the promises around it.
func TestIsolation(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	ask := &plannerv1.IsolationAsk{From: "2027-03-05"}
	plan := s.previewIsolation(t, "F-021", ask)
	outside.Check(t, "cough on 2027-03-05: may come out on", module4, "2027-03-19", plan.GetOutOn())
	require.Equal(t, "Z1", plan.GetRunCode())
	require.Equal(t, "B", plan.GetHoldRow())
	require.Equal(t, "2027-03-12", plan.GetHoldUntil())
	require.Contains(t, strings.Join(plan.GetNotes(), " "), "2027-03-13", "it would graduate in isolation")
	require.NotEmpty(t, plan.GetLaterGraduations())
	for _, e := range plan.GetLaterGraduations() {
		require.GreaterOrEqual(t, e.GetGraduation(), "2027-03-19")
	}
	watched := map[string]*plannerv1.Contact{}
	for _, c := range plan.GetWatch() {
		require.Equal(t, "2027-03-12", c.GetWatchedUntil())
		watched[c.GetDogCode()] = c
	}
	// By rows and trainers of stays.csv: F-005, F-020, F-042, F-045, F-052, F-056, F-057 and F-037 stand in row B; HANA has F-020 as well.
	require.Equal(t, s.dogs(t, `s.code = 'FENN' and a.run_id in (select id from facility.run where row_name = 'B') and q.code <> 'F-021'
		and lower(a.nights) <= '2027-03-05' and upper(a.nights) >= '2027-02-26'`), codesOf(plan.GetWatch()))
	require.Contains(t, watched[s.dogs(t, `q.code = 'F-020'`)[0]].GetBecause(), "trainer HANA")

	require.NoError(t, s.isolate(t, "F-021", ask, plan.GetFingerprint()))
	require.Equal(t, codes.FailedPrecondition, status.Code(s.isolate(t, "F-021", ask, plan.GetFingerprint())), "done once")
	list := func(day string) *plannerv1.ListIsolationsResponse {
		got, err := s.mend.ListIsolations(t.Context(), &plannerv1.ListIsolationsRequest{SiteCode: "FENN", Day: day})
		require.NoError(t, err)
		return got
	}
	require.Len(t, list("2027-03-05").GetIsolated(), 1)
	require.Len(t, list("2027-03-18").GetIsolated(), 1)
	require.Empty(t, list("2027-03-19").GetIsolated())
	require.Len(t, list("2027-03-11").GetWatched(), len(watched))
	require.Empty(t, list("2027-03-12").GetWatched())
	require.Len(t, list("2027-03-11").GetHolds(), 1)
	require.Empty(t, list("2027-03-12").GetHolds())
	require.Equal(t, "coughs", list("2027-03-05").GetIsolated()[0].GetReason())
	require.Equal(t, "manager", list("2027-03-05").GetIsolated()[0].GetMadeBy())
	s.requireEndedIsolation(t, list)
}

// requireEndedIsolation lets the dog out early; its run and row are open again.
func (s *school) requireEndedIsolation(t *testing.T, list func(string) *plannerv1.ListIsolationsResponse) {
	t.Helper()
	second := s.previewIsolation(t, "F-005", &plannerv1.IsolationAsk{From: "2027-03-05"})
	require.Equal(t, "Z2", second.GetRunCode(), "the first one is taken")
	require.NoError(t, s.isolate(t, "F-005", &plannerv1.IsolationAsk{From: "2027-03-05"}, second.GetFingerprint()))
	_, err := s.mend.PreviewIsolation(t.Context(), &plannerv1.PreviewIsolationRequest{DogCode: "F-020", Isolation: &plannerv1.IsolationAsk{From: "2027-03-06"}})
	require.Equal(t, codes.FailedPrecondition, status.Code(err), "both are taken")
	require.ErrorContains(t, err, "Z1, Z2: taken from 2027-03-05 to 2027-03-19")

	end := func(dog, day string, lift bool) error {
		_, err := s.mend.EndIsolation(t.Context(), &plannerv1.EndIsolationRequest{DogCode: dog, Day: day, Reason: "the veterinarian says so", Lift: lift})
		return err
	}
	require.Equal(t, codes.NotFound, status.Code(end("F-021", "2027-03-25", false)))
	require.Equal(t, codes.NotFound, status.Code(end("F-020", "2027-03-10", false)))
	require.NoError(t, end("F-021", "2027-03-08", true))
	require.Empty(t, s.text(t, `select coalesce(string_agg(days::text, ' '), '') from planner.contact_watch where upper(days) > '2027-03-08'
		and isolation_id = (select id from planner.isolation where upper(days) = '2027-03-08')`))
	require.Len(t, list("2027-03-08").GetIsolated(), 1)
	require.Len(t, list("2027-03-08").GetHolds(), 1, "that of the other dog")
	third := s.previewIsolation(t, "F-020", &plannerv1.IsolationAsk{From: "2027-03-09"})
	require.Equal(t, "Z1", third.GetRunCode(), "cleaned down for a day")
	history, err := s.mend.ReadStayHistory(t.Context(), &plannerv1.ReadStayHistoryRequest{DogCode: "F-021"})
	require.NoError(t, err)
	var reasons []string
	for _, c := range history.GetChanges() {
		reasons = append(reasons, c.GetReason())
	}
	require.Contains(t, reasons, "isolated in run Z1 from 2027-03-05 to 2027-03-19: coughs")
	require.Contains(t, reasons, "out of isolation on 2027-03-08: the veterinarian says so")
}

func codesOf(contacts []*plannerv1.Contact) (codes []string) {
	for _, c := range contacts {
		codes = append(codes, c.GetDogCode())
	}
	return codes
}

// TestDistemperIsWatchedLonger: and looked for further back, with the hold as long as the watch.
func TestDistemperIsWatchedLonger(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	cough := s.previewIsolation(t, "F-021", &plannerv1.IsolationAsk{From: "2027-03-13"})
	distemper := s.previewIsolation(t, "F-021", &plannerv1.IsolationAsk{From: "2027-03-13", Suspected: "distemper"})
	outside.Check(t, "distemper suspected on 2027-03-13: contacts watched until", module4, "2027-03-27", distemper.GetWatch()[0].GetWatchedUntil())
	outside.Check(t, "cough on 2027-03-13: contacts watched until", module4, "2027-03-20", cough.GetWatch()[0].GetWatchedUntil())
	require.Greater(t, len(distemper.GetWatch()), len(cough.GetWatch()), "those who left a week before are on the list as well")
	require.Equal(t, "2027-03-27", distemper.GetHoldUntil())
	short := s.previewIsolation(t, "F-021", &plannerv1.IsolationAsk{From: "2027-03-08", Days: 3, HoldScope: "none"})
	require.Equal(t, "2027-03-11", short.GetOutOn())
	require.Empty(t, short.GetHoldFrom())
	quill := s.previewIsolation(t, "F-009", &plannerv1.IsolationAsk{From: "2027-02-24"})
	require.Equal(t, []string{"", "2027-02-28"}, []string{quill.GetHoldRow(), quill.GetHoldUntil()}, "QUILL holds the whole site for 4 days, by its health rules")
	require.Contains(t, quill.GetRulesNote(), "UF")
	arrivals := map[string]bool{}
	for _, a := range quill.GetArrivals() {
		require.Nil(t, a.GetOtherRun(), "no run of the site will do")
		arrivals[a.GetRequestCode()] = true
	}
	require.Equal(t, map[string]bool{"F-031": true, "F-019": true}, arrivals)
	for _, day := range []string{"2027-02-17", "2027-03-19"} {
		_, err := s.mend.PreviewIsolation(t.Context(), &plannerv1.PreviewIsolationRequest{DogCode: "F-009", Isolation: &plannerv1.IsolationAsk{From: day}})
		require.Equal(t, codes.FailedPrecondition, status.Code(err), "it is not there on %s", day)
	}
}

// TestPlansKeepIntakeHolds drafts a month after dogs were isolated: nobody new arrives in a held row or site, and isolation runs stay out.
func TestPlansKeepIntakeHolds(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	for dog, ask := range map[string]*plannerv1.IsolationAsk{"F-021": {From: "2027-03-05", HoldDays: 12}, "F-009": {From: "2027-03-03", HoldScope: "site", HoldDays: 9}} {
		plan := s.previewIsolation(t, dog, ask)
		require.NoError(t, s.isolate(t, dog, ask, plan.GetFingerprint()))
	}
	drafted := s.read(t, s.draft(t, quick()).GetId())
	fenn := 0
	for _, p := range drafted.GetPlacements() {
		if p.GetStanding() != "new" {
			continue
		}
		require.NotContains(t, p.GetRunCode(), "Z")
		row := strings.HasPrefix(p.GetRunCode(), "B") && p.GetSiteCode() == "FENN"
		require.False(t, row && p.GetArrival() >= "2027-03-05" && p.GetArrival() < "2027-03-17", "%v", p)
		require.False(t, p.GetSiteCode() == "QUILL" && p.GetArrival() >= "2027-03-03" && p.GetArrival() < "2027-03-12", "%v", p)
		if row && p.GetArrival() < "2027-03-05" || row && p.GetArrival() >= "2027-03-17" {
			fenn++
		}
	}
	require.Positive(t, fenn, "the row takes dogs on other days")
}

// TestIsolatedDogsStayWhereTheyArePromised: a stay that nobody has confirmed is moved by no draft once its dog is ill.
func TestIsolatedDogsStayWhereTheyArePromised(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	_, err := s.pool.Exec(t.Context(), `update planner.stay set state = 'published' where request_id = (select id from enrollment.request where code = 'F-021')`)
	require.NoError(t, err)
	ask := &plannerv1.IsolationAsk{From: "2027-02-25"}
	require.NoError(t, s.isolate(t, "F-021", ask, s.previewIsolation(t, "F-021", ask).GetFingerprint()))
	require.Equal(t, "confirmed", s.text(t, `select state from planner.stay where request_id = (select id from enrollment.request where code = 'F-021')`))
	_, err = s.pool.Exec(t.Context(), `update planner.stay set state = 'gone home' where request_id = (select id from enrollment.request where code = 'F-020')`)
	require.NoError(t, err)
	got, err := s.mend.ListIsolations(t.Context(), &plannerv1.ListIsolationsRequest{SiteCode: "FENN", Day: "2027-02-26"})
	require.NoError(t, err)
	for _, c := range got.GetWatched() {
		require.NotEmpty(t, c.GetGraduation(), "%s: also of one that has gone home", c.GetDogCode())
		require.NotEmpty(t, c.GetRunCode())
	}
}

// TestHeldArrivalsGetOtherRuns: arrivals in a held row move to another one when that is asked for.
func TestHeldArrivalsGetOtherRuns(t *testing.T) {
	t.Parallel()
	s := promisedSchool(t)
	before := s.recount(t)
	moved, held := 0, 0
	for _, dog := range []string{"F-021", "F-009", "F-027", "F-025", "F-057", "F-038"} {
		ask := &plannerv1.IsolationAsk{From: "2027-03-02", MoveRuns: true, HoldScope: "row", HoldDays: 14}
		plan := s.previewIsolation(t, dog, ask)
		require.NoError(t, s.isolate(t, dog, ask, plan.GetFingerprint()), dog)
		held += len(plan.GetArrivals())
		for _, m := range plan.GetRunMoves() {
			moved++
			require.False(t, strings.HasPrefix(m.GetToRun(), plan.GetHoldRow()), "%v", m)
		}
		for name, found := range s.recount(t) {
			for _, text := range found {
				require.Contains(t, before[name], text, name)
			}
		}
	}
	t.Logf("%d arrivals held, %d got another run", held, moved)
	require.Positive(t, moved)
}

// TestStaleAndConcurrentIsolation: two dogs at once get no run twice, and what changed meanwhile refuses.
func TestStaleAndConcurrentIsolation(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	ask := &plannerv1.IsolationAsk{From: "2027-03-05"}
	plans := []*plannerv1.IsolationPlan{s.previewIsolation(t, "F-021", ask), s.previewIsolation(t, "F-020", ask)}
	errs := make([]error, 2)
	var both sync.WaitGroup
	for i, dog := range []string{"F-021", "F-020"} {
		both.Go(func() { errs[i] = s.isolate(t, dog, ask, plans[i].GetFingerprint()) })
	}
	both.Wait()
	require.NotEqual(t, errs[0] == nil, errs[1] == nil, "%v", errs)
	require.Empty(t, s.recount(t)["two isolations in a run"])

	plan := s.previewIsolation(t, "F-009", ask)
	_, err := s.pool.Exec(t.Context(), `update planner.stay set state = 'cancelled' where request_id = (select id from enrollment.request where code = 'F-036')`)
	require.NoError(t, err)
	before := s.digest(t)
	require.Equal(t, codes.FailedPrecondition, status.Code(s.isolate(t, "F-009", ask, plan.GetFingerprint())))
	require.Equal(t, before, s.digest(t))
}
