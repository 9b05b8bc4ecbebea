package planner_test

import (
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

func (s *school) preview(t *testing.T, plan, request string, at *plannerv1.PinAt) (*plannerv1.PreviewPlacementResponse, error) {
	t.Helper()
	return s.planner.PreviewPlacement(t.Context(), &plannerv1.PreviewPlacementRequest{PlanId: plan, RequestCode: request, Seconds: 1,
		Change: &plannerv1.PreviewPlacementRequest_Pin{Pin: at}})
}

// pinTo previews a pin and makes it.
func (s *school) pinTo(t *testing.T, plan, request string, at *plannerv1.PinAt) *plannerv1.PreviewPlacementResponse {
	t.Helper()
	seen, err := s.preview(t, plan, request, at)
	require.NoError(t, err)
	require.NotEmpty(t, seen.GetFingerprint())
	_, err = s.planner.PinPlacement(t.Context(), &plannerv1.PinPlacementRequest{RequestCode: request, Pin: at, Fingerprint: seen.GetFingerprint(), Note: "the owner asked"})
	require.NoError(t, err)
	return seen
}

// elsewhere finds a day of a placed request's window, other than its own, to which it can be pinned with any run and trainer.
func (s *school) elsewhere(t *testing.T, plan string, r *plannerv1.Planned) *plannerv1.PinAt {
	t.Helper()
	for day := calendar.MustDate(r.GetWindowFirst()); day.String() <= r.GetWindowLast(); day = day.AddDays(1) {
		for _, site := range r.GetSiteCodes() {
			at := &plannerv1.PinAt{SiteCode: site, Arrival: day.String()}
			if day.String() == r.GetArrival() {
				continue
			}
			if _, err := s.preview(t, plan, r.GetRequestCode(), at); err == nil {
				return at
			}
		}
	}
	return nil
}

// choices finds placed requests that come alone and could be pinned elsewhere, or waiting ones that could be pinned.
func (s *school) choices(t *testing.T, plan string, which plannerv1.PlannedKind, n int) (rows []*plannerv1.Planned, at []*plannerv1.PinAt) {
	t.Helper()
	all, _ := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: plan, Which: which}, 200)
	for _, r := range all {
		if r.GetHard() || r.GetPlaced() && r.GetStanding() != "new" || s.count(t, `select count(*) from enrollment.request where code = $1 and household <> ''`, r.GetRequestCode()) > 0 {
			continue
		}
		if pin := s.elsewhere(t, plan, r); pin != nil {
			rows, at = append(rows, r), append(at, pin)
		}
		if len(rows) == n {
			return rows, at
		}
	}
	t.Fatalf("of %d requests only %d can be pinned", len(all), len(rows))
	return nil, nil
}

func TestPinnedRequestsGoWhereTheyArePinned(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	before := s.draft(t, quick())
	rows, at := s.choices(t, before.GetId(), plannerv1.PlannedKind_PLANNED_KIND_WAITING, 2)
	code, other, elsewhere := rows[0].GetRequestCode(), rows[1], at[1]
	seen := s.pinTo(t, before.GetId(), code, at[0])
	require.Equal(t, before.GetValue(), seen.GetPointsBefore())
	require.LessOrEqual(t, seen.GetGainLeast(), seen.GetGainMost())
	require.LessOrEqual(t, seen.GetGainMost(), int64(0), "a pin only takes choices away")
	require.LessOrEqual(t, seen.GetPointsAfter(), before.GetBound())
	require.Equal(t, at[0].GetSiteCode(), seen.GetPlacement().GetSiteCode())
	require.Equal(t, at[0].GetArrival(), seen.GetPlacement().GetArrival())
	require.NotNil(t, seen.GetSmallest())
	for _, shift := range seen.GetShifts() {
		require.False(t, shift.GetBefore() == nil && shift.GetAfter() == nil)
		switch code := shift.GetRequestCode(); {
		case code == rows[0].GetRequestCode():
			require.Nil(t, shift.GetBefore())
		case shift.GetAfter() == nil:
			require.Contains(t, seen.GetDisplaced(), code)
		case shift.GetBefore() == nil:
			require.Contains(t, seen.GetGained(), code)
		default:
			require.Contains(t, seen.GetMoved(), code)
		}
	}

	// The pin is on record, and what was drafted without it is of yesterday.
	pins, err := s.planner.ListPins(t.Context(), &plannerv1.ListPinsRequest{Month: scenario.Month})
	require.NoError(t, err)
	require.Len(t, pins.GetPins(), 1)
	pin := pins.GetPins()[0]
	require.Equal(t, []string{code, rows[0].GetDogName(), at[0].GetSiteCode(), at[0].GetArrival(), "the owner asked", "manager"},
		[]string{pin.GetRequestCode(), pin.GetDogName(), pin.GetAt().GetSiteCode(), pin.GetAt().GetArrival(), pin.GetNote(), pin.GetMadeBy()})
	_, err = s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: before.GetId()})
	requireRefusal(t, err, codes.FailedPrecondition, "have changed since")
	_, err = s.preview(t, before.GetId(), code, at[0])
	requireRefusal(t, err, codes.FailedPrecondition, code+" has been held to a place since plan 1 of 2027-03 was drafted: let it go")
	_, err = s.preview(t, before.GetId(), other.GetRequestCode(), elsewhere)
	requireRefusal(t, err, codes.FailedPrecondition, "records, promises or held places have changed")

	after := s.draft(t, quick())
	recount(t, s, s.read(t, after.GetId()))
	require.LessOrEqual(t, after.GetValue()-1000, before.GetBound(), "without the pin's points no plan is above the bound without")
	row, _ := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: after.GetId(), Find: code}, 200)
	require.True(t, row[0].GetPinned())
	require.True(t, row[0].GetPlaced())
	require.Equal(t, at[0].GetSiteCode(), row[0].GetSiteCode())
	require.Equal(t, at[0].GetArrival(), row[0].GetArrival())
	why, err := s.planner.ExplainRequest(t.Context(), &plannerv1.ExplainRequestRequest{PlanId: after.GetId(), RequestCode: code})
	require.NoError(t, err)
	require.True(t, slices.ContainsFunc(why.GetPlacement().GetPoints(), func(p *plannerv1.Points) bool { return p.GetTerm() == "pinned" && p.GetPoints() == 1000 }))
	_, err = s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: after.GetId()})
	require.NoError(t, err)

	// Taken away, it stays as an ended row.
	ended, err := s.planner.Unpin(t.Context(), &plannerv1.UnpinRequest{RequestCode: code})
	require.NoError(t, err)
	require.Equal(t, "manager", ended.GetPin().GetEndedBy())
	_, err = s.planner.Unpin(t.Context(), &plannerv1.UnpinRequest{RequestCode: code})
	requireRefusal(t, err, codes.NotFound, "is not pinned")
	pins, err = s.planner.ListPins(t.Context(), &plannerv1.ListPinsRequest{Month: scenario.Month})
	require.NoError(t, err)
	require.Empty(t, pins.GetPins())
	pins, err = s.planner.ListPins(t.Context(), &plannerv1.ListPinsRequest{Month: scenario.Month, WithEnded: true})
	require.NoError(t, err)
	require.Len(t, pins.GetPins(), 1)
	require.NotNil(t, pins.GetPins()[0].GetEndedAt())
}

// A plan without a bound has nothing to solve from, and that is what is said, also where its inputs are those of today.
func TestNothingIsPreviewedWithAPlanWithoutABound(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick()).GetId()
	_, err := s.pool.Exec(t.Context(), `update planner.plan set bound = null where id = $1`, plan)
	require.NoError(t, err)
	_, err = s.preview(t, plan, "M-007", &plannerv1.PinAt{SiteCode: "DRUM", Arrival: "2027-03-09"})
	requireRefusal(t, err, codes.FailedPrecondition, "there is nothing to solve from")
}

func TestPinsThatNoRuleAllowsAreRefused(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick()).GetId()
	placed, _ := s.choices(t, plan, plannerv1.PlannedKind_PLANNED_KIND_PLACED, 1)
	r := placed[0]
	here := func(change func(*plannerv1.PinAt)) *plannerv1.PinAt {
		at := &plannerv1.PinAt{SiteCode: r.GetSiteCode(), Arrival: r.GetArrival()}
		change(at)
		return at
	}
	other := map[string]string{"FENN": "QUILL", "QUILL": "FENN"}[r.GetSiteCode()]
	if other == "" || slices.Contains(r.GetSiteCodes(), other) {
		other = ""
	}
	for _, tc := range []struct {
		name    string
		request string
		at      *plannerv1.PinAt
		code    codes.Code
		text    string
	}{
		{"no such request", "X-1", here(func(*plannerv1.PinAt) {}), codes.NotFound, "X-1"},
		{"no such site", r.GetRequestCode(), here(func(a *plannerv1.PinAt) { a.SiteCode = "NOWHERE" }), codes.NotFound, "NOWHERE"},
		{"no such trainer", r.GetRequestCode(), here(func(a *plannerv1.PinAt) { a.TrainerCode = "NOBODY" }), codes.NotFound, "NOBODY"},
		{"no such day", r.GetRequestCode(), here(func(a *plannerv1.PinAt) { a.Arrival = "2027-02-30" }), codes.InvalidArgument, "arrival"},
		{"no such class", r.GetRequestCode(), here(func(a *plannerv1.PinAt) { a.RunClass = "XXL" }), codes.InvalidArgument, "run_class"},
		{"another month", r.GetRequestCode(), here(func(a *plannerv1.PinAt) { a.Arrival = "2027-06-01" }), codes.FailedPrecondition, "lies outside of 2027-03"},
		{"a Sunday without places", "M-022", &plannerv1.PinAt{SiteCode: s.siteOf(t, "M-022"), Arrival: s.windowOf(t, "M-022")}, codes.FailedPrecondition, "no intake places on a Sunday"},
		{"a vaccine that lapses", "M-013", &plannerv1.PinAt{SiteCode: s.siteOf(t, "M-013"), Arrival: s.windowOf(t, "M-013")}, codes.FailedPrecondition, "rabies lapses after 2027-03-20"},
		{"a fellow that may not come", "M-009", &plannerv1.PinAt{SiteCode: s.siteOf(t, "M-009"), Arrival: s.windowOf(t, "M-009")}, codes.FailedPrecondition, "M-010 of its household comes with it"},
	} {
		_, err := s.preview(t, plan, tc.request, tc.at)
		requireRefusal(t, err, tc.code, tc.text)
		_, err = s.planner.PinPlacement(t.Context(), &plannerv1.PinPlacementRequest{RequestCode: tc.request, Pin: tc.at, Fingerprint: "0123456789abcdef"})
		require.Error(t, err, tc.name)
	}
	if other != "" {
		_, err := s.preview(t, plan, r.GetRequestCode(), here(func(a *plannerv1.PinAt) { a.SiteCode = other }))
		requireRefusal(t, err, codes.FailedPrecondition, "does not accept that site")
	}
	require.Zero(t, s.count(t, `select count(*) from planner.pin`))

	// A fingerprint belongs to one pin and to things as they are.
	seen, err := s.preview(t, plan, r.GetRequestCode(), here(func(*plannerv1.PinAt) {}))
	require.NoError(t, err)
	elsewhere := s.elsewhere(t, plan, r)
	_, err = s.planner.PinPlacement(t.Context(), &plannerv1.PinPlacementRequest{RequestCode: r.GetRequestCode(), Pin: elsewhere, Fingerprint: seen.GetFingerprint()})
	requireRefusal(t, err, codes.FailedPrecondition, "since the preview")
	_, err = s.planner.SetPolicy(t.Context(), &plannerv1.SetPolicyRequest{Terms: []*plannerv1.PolicyTerm{{Term: "travel", Points: 7}}})
	require.NoError(t, err)
	_, err = s.planner.PinPlacement(t.Context(), &plannerv1.PinPlacementRequest{RequestCode: r.GetRequestCode(), Pin: here(func(*plannerv1.PinAt) {}), Fingerprint: seen.GetFingerprint()})
	requireRefusal(t, err, codes.FailedPrecondition, "since the preview")
	require.Zero(t, s.count(t, `select count(*) from planner.pin`))
}

// siteOf is the first site that a request accepts, windowOf its first arrival day.
func (s *school) siteOf(t *testing.T, request string) (code string) {
	t.Helper()
	require.NoError(t, s.pool.QueryRow(t.Context(), `
		select f.code from enrollment.request_site s join enrollment.request r on r.id = s.request_id join facility.site f on f.id = s.site_id
		where r.code = $1 order by f.code limit 1`, request).Scan(&code))
	return code
}

func (s *school) windowOf(t *testing.T, request string) (day string) {
	t.Helper()
	require.NoError(t, s.pool.QueryRow(t.Context(), `select greatest(lower(window_days), '2027-03-01')::text from enrollment.request where code = $1`, request).Scan(&day))
	return day
}

func TestTwoPinsAtOnceAreOne(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick()).GetId()
	rows, at := s.choices(t, plan, plannerv1.PlannedKind_PLANNED_KIND_PLACED, 1)
	seen, err := s.preview(t, plan, rows[0].GetRequestCode(), at[0])
	require.NoError(t, err)
	var calls sync.WaitGroup
	results := make([]codes.Code, 5)
	for i := range results {
		calls.Go(func() {
			_, err := s.planner.PinPlacement(t.Context(), &plannerv1.PinPlacementRequest{RequestCode: rows[0].GetRequestCode(), Pin: at[0], Fingerprint: seen.GetFingerprint()})
			results[i] = status.Code(err)
		})
	}
	calls.Wait()
	made := 0
	for _, code := range results {
		require.Contains(t, []codes.Code{codes.OK, codes.AlreadyExists, codes.Aborted, codes.Unavailable}, code)
		if code == codes.OK {
			made++
		}
	}
	require.Equal(t, 1, made)
	require.Equal(t, 1, s.count(t, `select count(*) from planner.pin where ended_at is null`))
}

// TestAPinThatBecomesImpossibleMakesItsRequestWait pins a request with its trainer, who then is away.
func TestAPinThatBecomesImpossibleMakesItsRequestWait(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick()).GetId()
	rows, _ := s.choices(t, plan, plannerv1.PlannedKind_PLANNED_KIND_PLACED, 1)
	r := rows[0]
	seen := s.pinTo(t, plan, r.GetRequestCode(), &plannerv1.PinAt{SiteCode: r.GetSiteCode(), Arrival: r.GetArrival(), RunClass: r.GetRunClass(), TrainerCode: r.GetTrainerCode()})
	require.EqualValues(t, 0, seen.GetSmallest().GetPoints(), "it is placed there already")
	require.Equal(t, r.GetTrainerCode(), seen.GetPlacement().GetTrainerCode())
	_, err := s.roster.RecordAbsence(t.Context(), &rosterv1.RecordAbsenceRequest{TrainerCode: r.GetTrainerCode(), FirstDay: r.GetGraduation(), LastDay: r.GetGraduation(), Kind: rosterv1.AbsenceKind_ABSENCE_KIND_LEAVE})
	require.NoError(t, err)
	again := s.draft(t, quick())
	found, _ := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: again.GetId(), Find: r.GetRequestCode()}, 200)
	require.False(t, found[0].GetPlaced())
	require.True(t, found[0].GetHard())
	require.Contains(t, found[0].GetReason(), "it is pinned to "+r.GetSiteCode()+" from "+r.GetArrival()+", but trainer "+r.GetTrainerCode()+" does not work")
	require.Contains(t, found[0].GetRemedy(), "take the pin away")
	_, err = s.planner.Unpin(t.Context(), &plannerv1.UnpinRequest{RequestCode: r.GetRequestCode()})
	require.NoError(t, err)
	last := s.draft(t, quick())
	found, _ = s.planned(t, &plannerv1.ListPlannedRequest{PlanId: last.GetId(), Find: r.GetRequestCode()}, 200)
	require.False(t, found[0].GetHard(), "without the pin it has other choices")
}

// TestAPinHoldsTheHousehold pins one dog of two that come together.
func TestAPinHoldsTheHousehold(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick()).GetId()
	rows, _ := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: plan, Find: "M-001"}, 200)
	at := s.elsewhere(t, plan, rows[0])
	require.NotNil(t, at)
	s.pinTo(t, plan, "M-001", at)
	next := s.draft(t, quick()).GetId()
	for _, code := range []string{"M-001", "M-002"} {
		found, _ := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: next, Find: code}, 200)
		require.True(t, found[0].GetPlaced(), code)
		require.Equal(t, at.GetArrival(), found[0].GetArrival())
		require.Equal(t, at.GetSiteCode(), found[0].GetSiteCode())
		require.Equal(t, code == "M-001", found[0].GetPinned())
	}
	apart := &plannerv1.PinAt{SiteCode: at.GetSiteCode(), Arrival: rows[0].GetArrival()}
	_, err := s.preview(t, next, "M-002", apart)
	requireRefusal(t, err, codes.FailedPrecondition, "M-001 of its household comes with it, and is pinned to")
}

func TestAnotherWishIsWeighed(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick())
	try := func(code string, w *plannerv1.Wish) (*plannerv1.PreviewPlacementResponse, error) {
		return s.planner.PreviewPlacement(t.Context(), &plannerv1.PreviewPlacementRequest{PlanId: plan.GetId(), RequestCode: code, Seconds: 1,
			Change: &plannerv1.PreviewPlacementRequest_Wish{Wish: w}})
	}
	_, err := try("M-040", &plannerv1.Wish{})
	requireRefusal(t, err, codes.InvalidArgument, "changes nothing")
	_, err = try("M-040", &plannerv1.Wish{FirstDay: "2027-03-09", LastDay: "2027-03-08"})
	requireRefusal(t, err, codes.InvalidArgument, "last_day")
	_, err = try("M-040", &plannerv1.Wish{SiteCodes: []string{"NOWHERE"}})
	requireRefusal(t, err, codes.NotFound, "NOWHERE")

	// A wait names changes that would have admitted it; solved with, the month gains at least as much as that.
	weighed := 0
	for _, w := range s.read(t, plan.GetId()).GetWaits() {
		at := slices.IndexFunc(w.GetChanges(), func(c *plannerv1.Change) bool { return c.GetKind() == "window" })
		if at < 0 || weighed == 3 {
			continue
		}
		change := w.GetChanges()[at]
		rows, _ := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: plan.GetId(), Find: w.GetRequestCode()}, 200)
		got, err := try(w.GetRequestCode(), &plannerv1.Wish{FirstDay: min(rows[0].GetWindowFirst(), change.GetArrival()), LastDay: max(rows[0].GetWindowLast(), change.GetArrival())})
		require.NoError(t, err)
		require.GreaterOrEqual(t, got.GetGainMost(), change.GetPoints(), w.GetRequestCode())
		require.GreaterOrEqual(t, got.GetPointsAfter(), plan.GetValue(), "the plan as it is still stands")
		require.Empty(t, got.GetFingerprint())
		weighed++
	}
	require.Positive(t, weighed)
	// Days on which nothing is open leave it waiting, with words.
	got, err := try("M-040", &plannerv1.Wish{FirstDay: "2027-06-01", LastDay: "2027-06-02"})
	require.NoError(t, err)
	require.Nil(t, got.GetPlacement())
	require.NotEmpty(t, got.GetReason())
}

// TestWhatAPinCostsHoldsAgainstSolvingAnew pins requests of small months anywhere within their wishes, and holds what the preview proves
// against solving both months from scratch.
func TestWhatAPinCostsHoldsAgainstSolvingAnew(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	in, err := planner.ReadInputs(t.Context(), s.pool, calendar.MustMonth(scenario.Month))
	require.NoError(t, err)
	rnd := rand.New(rand.NewPCG(5, 6))
	tried, placed := 0, 0
	for range 40 {
		small := in
		small.Cases = nil
		for _, i := range rnd.Perm(len(in.Cases))[:25] {
			if in.Cases[i].Request.Household == "" {
				small.Cases = append(small.Cases, in.Cases[i])
			}
		}
		slices.SortFunc(small.Cases, func(a, b enrollment.Case) int { return a.Request.ID.Compare(b.Request.ID) })
		c := small.Cases[rnd.IntN(len(small.Cases))]
		days, some := c.Request.Window.Intersect(small.Month.Span())
		if !some || len(c.Request.Sites) == 0 {
			continue
		}
		pin := planner.Pin{RequestID: c.Request.ID, SiteID: c.Request.Sites[rnd.IntN(len(c.Request.Sites))].SiteID, Arrival: days.From.AddDays(rnd.IntN(days.Nights()))}
		got, err := planner.TryPin(t.Context(), small, pin)
		require.NoError(t, err)
		if got.Refused != nil {
			require.ErrorContains(t, got.Refused, "cannot be pinned there")
			continue
		}
		tried++
		require.LessOrEqual(t, got.After, got.Bound, "no plan with the pin is above the bound without")
		require.LessOrEqual(t, got.Anew, got.Bound)
		require.LessOrEqual(t, got.GainLeast, got.GainMost)
		require.True(t, got.Placed, "alone it always finds room in a month this small: %+v", got)
		if got.AnewPlaced {
			placed++
			// The best with the pin lies between Anew and AnewBound, the best without between Best and BestBound.
			require.LessOrEqual(t, got.Anew-got.BestBound, got.GainMost, "%+v", got)
			require.GreaterOrEqual(t, got.AnewBound-got.Best, got.GainLeast, "%+v", got)
		}
		if got.Smallest != nil {
			require.GreaterOrEqual(t, got.Before-*got.Smallest, int64(0))
			require.GreaterOrEqual(t, got.After, got.Before-*got.Smallest, "solving does no worse than the smallest step")
		}
	}
	require.Greater(t, tried, 10)
	require.Greater(t, placed, 10)
}
