package enrollment

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"

	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
)

func (s *school) server() *Server {
	return NewServer(s.deps())
}

func (s *school) deps() Deps {
	return Deps{Pool: s.Pool, Mint: uuid.New, Now: func() time.Time { return testNow.Add(1234567) },
		Caller: func(context.Context) string { return "CLEO" }, Sites: s.listSites, Promised: func(context.Context, postgres.DB) ([]ids.RequestID, error) { return s.promised, nil }}
}

func TestNewServerNeedsEverything(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	require.NotPanics(t, func() { NewServer(s.deps()) })
	for name, drop := range map[string]func(*Deps){
		"Pool": func(d *Deps) { d.Pool = nil }, "Mint": func(d *Deps) { d.Mint = nil }, "Now": func(d *Deps) { d.Now = nil },
		"Caller": func(d *Deps) { d.Caller = nil }, "Sites": func(d *Deps) { d.Sites = nil },
		"Promised": func(d *Deps) { d.Promised = nil },
	} {
		d := s.deps()
		drop(&d)
		require.Panics(t, func() { NewServer(d) }, name)
	}
}

func TestServerListRequests(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	for _, tt := range []struct {
		month     string
		withdrawn bool
		want      string
	}{
		{"", false, "R-1 R-2"},
		{"", true, "R-1 R-2 R-3"},
		{"2027-03", true, "R-1 R-2"},
		{"2027-04", false, "R-2"},
		{"2027-04", true, "R-2 R-3"},
		{"2027-07", true, ""},
	} {
		got, err := s.server().ListRequests(t.Context(), &enrollmentv1.ListRequestsRequest{Month: tt.month, WithWithdrawn: tt.withdrawn})
		require.NoError(t, err)
		var codes []string
		for _, r := range got.GetRequests() {
			codes = append(codes, r.GetCode())
		}
		require.Equal(t, tt.want, strings.Join(codes, " "), "%s %v", tt.month, tt.withdrawn)
	}
	_, err := s.server().ListRequests(t.Context(), &enrollmentv1.ListRequestsRequest{Month: "2027-13"})
	require.ErrorIs(t, err, apperr.Invalid)
}

// TestServerReadRequest: Bo arrives on 2027-03-01 at the earliest. Her bordetella of 2026-09-01 holds 12 months, her rabies
// booster of 2026-09-20 three years. She is in season until 2027-03-12.
func TestServerReadRequest(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	got, err := s.server().ReadRequest(t.Context(), &enrollmentv1.ReadRequestRequest{RequestCode: "R-1"})
	require.NoError(t, err)
	require.Equal(t, s.request(t, "R-1").String(), got.GetRequest().GetId())
	r := got.GetRequest()
	require.Equal(t, []string{"R-1", "BO", "Bo", "MANNERS", "2027-03-01", "2027-03-21", "2027-03-08", "2027-01-11", "LOWE-SPRING", "open"},
		[]string{r.GetCode(), r.GetDogCode(), r.GetDogName(), r.GetProgramCode(), r.GetWindowFirst(), r.GetWindowLast(), r.GetWished(), r.GetAskedOn(),
			r.GetHousehold(), r.GetState()})
	require.Equal(t, []int32{14, 3}, []int32{r.GetNights(), r.GetPriority()})
	require.True(t, r.GetDeposit())
	require.Len(t, r.GetSites(), 2)
	require.Equal(t, "HILL", r.GetSites()[0].GetSiteCode())
	require.Equal(t, int32(35), r.GetSites()[0].GetTravelMinutes())
	require.Equal(t, "LAKE", r.GetSites()[1].GetSiteCode())

	w := got.GetWorkload()
	require.Equal(t, "guarded", w.GetCareClass())
	require.Equal(t, "jumps at strangers", w.GetOverrideReason())
	require.GreaterOrEqual(t, w.GetMinutesADay(), int32(90), "3 sessions of 20 + 5 minutes and 15 of care, and what the answers add")
	require.GreaterOrEqual(t, w.GetCoverMinutes(), int32(40))
	require.Less(t, w.GetCoverMinutes(), w.GetMinutesADay())
	require.Equal(t, int32(1), w.GetSkills()["recall"])
	require.Contains(t, w.GetCautions()[0], "in season until about 2027-03-12")
	var minutes int32
	for _, reason := range w.GetReasons() {
		require.NotEmpty(t, reason.GetSource())
		if n, ok := strings.CutSuffix(reason.GetEffect(), " minutes"); ok {
			minutes += atoi(t, n)
		}
	}
	require.Equal(t, w.GetMinutesADay(), minutes, "the reasons add up")
	require.Empty(t, got.GetVaccineFindings())

	_, err = s.server().ReadRequest(t.Context(), &enrollmentv1.ReadRequestRequest{RequestCode: "R-9"})
	require.ErrorIs(t, err, apperr.NotFound)
}

func TestServerReadRequestHoldsShotsAgainstTheRulesOfEachSite(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	s.mustPut(t, KindRequestSites, "request,site,travel_minutes", "R-2,HILL,10")
	s.sites[1].RequiredVaccines = []string{"rabies"} // at LAKE, which waits 14 days

	// Dot's first rabies shot of 2027-02-20 counts from 2027-03-06 after 14 days and from 2027-03-20 after 28; her window opens
	// on 2027-03-15.
	read := func() [][2]string {
		t.Helper()
		got, err := s.server().ReadRequest(t.Context(), &enrollmentv1.ReadRequestRequest{RequestCode: "R-2"})
		require.NoError(t, err)
		var found [][2]string
		for _, f := range got.GetVaccineFindings() {
			require.NotEmpty(t, f.GetFault())
			require.NotEmpty(t, f.GetRemedy())
			found = append(found, [2]string{f.GetSiteCode(), f.GetVaccine()})
		}
		return found
	}
	require.Equal(t, [][2]string{{"HILL", "rabies"}, {"HILL", "bordetella"}}, read())

	s.sites[0].RequiredVaccines = []string{"rabis"}
	require.Equal(t, [][2]string{{"HILL", ""}}, read(), "a rule that cannot be checked is a finding")
	_, err := RulesFor(s.sites[0])
	require.ErrorIs(t, err, apperr.Precondition)
	require.ErrorContains(t, err, "HILL")
}

func TestServerWithdrawRequest(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	for range 2 { // the second time changes nothing
		got, err := s.server().WithdrawRequest(t.Context(), &enrollmentv1.WithdrawRequestRequest{RequestCode: "R-1"})
		require.NoError(t, err)
		require.Equal(t, "withdrawn", got.GetRequest().GetState())
		require.Len(t, got.GetRequest().GetSites(), 2)
	}
	left, err := s.server().ListRequests(t.Context(), &enrollmentv1.ListRequestsRequest{})
	require.NoError(t, err)
	require.Len(t, left.GetRequests(), 1)
	_, err = s.server().WithdrawRequest(t.Context(), &enrollmentv1.WithdrawRequestRequest{RequestCode: "R-9"})
	require.ErrorIs(t, err, apperr.NotFound)
}

func TestServerOverrideWorkload(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	was := s.list(t, KindOverrides)
	override := func(dog string, minutes int32, care, reason string) error {
		_, err := s.server().OverrideWorkload(t.Context(), &enrollmentv1.OverrideWorkloadRequest{DogCode: dog, MinutesADay: minutes, CareClass: care, Reason: reason})
		return err
	}
	require.NoError(t, override("BO", 75, "", "settled in well"))
	require.Equal(t, []string{was[0], was[1], was[2], "BO,2027-02-01T09:30:00.001234Z,CLEO,75,,settled in well", was[3]}, s.list(t, KindOverrides), "nothing else changed")

	read, err := s.server().ReadRequest(t.Context(), &enrollmentv1.ReadRequestRequest{RequestCode: "R-1"})
	require.NoError(t, err)
	require.Equal(t, int32(75), read.GetWorkload().GetMinutesADay())
	require.Equal(t, "settled in well", read.GetWorkload().GetOverrideReason())

	require.ErrorIs(t, override("BO", 80, "", "at the same moment"), apperr.Conflict)
	require.ErrorIs(t, override("BOB", 75, "", "settled in well"), apperr.NotFound)
	for _, tt := range []struct {
		minutes      int32
		care, reason string
	}{{-1, "", "because"}, {481, "", "because"}, {0, "closed", "because"}, {60, "", "no"}, {60, "", "     "}, {60, "", strings.Repeat("x", 501)}} {
		require.ErrorIs(t, override("KIM", tt.minutes, tt.care, tt.reason), apperr.Invalid, "%+v", tt)
	}
	require.NoError(t, override("DOT", 0, "", "no longer so"))
	read, err = s.server().ReadRequest(t.Context(), &enrollmentv1.ReadRequestRequest{RequestCode: "R-2"})
	require.NoError(t, err)
	require.Empty(t, read.GetWorkload().GetOverrideReason(), "the earlier word is lifted")
	require.NotEqual(t, int32(60), read.GetWorkload().GetMinutesADay())
}
