package facility

import (
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"

	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
)

// newServer answers from a database of its own that holds two sites, three runs and some places.
func newServer(t *testing.T) (*Server, *postgres.Pool) {
	t.Helper()
	pool := postgrestest.Database(t)
	commit(t, pool, func(tx postgres.Tx) {
		require.Empty(t, importCSV(t, tx, KindSites, sitesCSV, "HILL,Hillside,America/Denver,28,rabies,120,1,", "LAKE,Lake,Europe/London,14,,100,0,"))
		require.Empty(t, importCSV(t, tx, KindRuns, "site,run,row,length_mm,width_mm,height_mm,isolation",
			"HILL,A1,A,2400,1200,1800,no", "HILL,A2,A,2400,1200,1800,yes", "LAKE,A1,B,1000,1000,1500,no"))
		require.Empty(t, importCSV(t, tx, KindPlaces, "site,weekday,intake,handover", "HILL,monday,3,1"))
	})
	return NewServer(Deps{Pool: pool, Mint: ids.SequenceMint(1)}), pool
}

// same compares messages.
func same(t *testing.T, want, got proto.Message) {
	t.Helper()
	require.True(t, proto.Equal(want, got), "want %v\ngot  %v", want, got)
}

// refuses asks for an error of a kind with a reason; field is the path of its first field, if any.
func refuses(t *testing.T, err error, kind apperr.Kind, reason, field string) {
	t.Helper()
	require.ErrorIs(t, err, kind)
	e, _ := apperr.From(err)
	require.Equal(t, reason, e.Reason)
	if field != "" {
		require.Len(t, e.Fields, 1)
		require.Equal(t, field, e.Fields[0].Path)
		require.NotEmpty(t, e.Fields[0].Remedy)
	}
}

func TestNewServerAsksForItsDependencies(t *testing.T) {
	t.Parallel()
	require.Panics(t, func() { NewServer(Deps{Mint: uuid.New}) })
	require.Panics(t, func() { NewServer(Deps{Pool: postgrestest.Pool(t)}) })
}

func TestServerListsSites(t *testing.T) {
	t.Parallel()
	s, _ := newServer(t)
	got, err := s.ListSites(t.Context(), &facilityv1.ListSitesRequest{})
	require.NoError(t, err)
	for _, site := range got.Sites {
		_, err := ids.Parse[ids.SiteID](site.Id)
		require.NoError(t, err)
		site.Id = ""
	}
	same(t, &facilityv1.ListSitesResponse{Sites: []*facilityv1.Site{
		{Code: "HILL", Name: "Hillside", Zone: "America/Denver", RabiesWaitingDays: 28, RequiredVaccines: []string{"rabies"}, FloorPercent: 120, CleanDownDays: 1, Runs: 2},
		{Code: "LAKE", Name: "Lake", Zone: "Europe/London", RabiesWaitingDays: 14, FloorPercent: 100, Runs: 1},
	}}, got)
}

func TestServerClosesListsAndReopensRuns(t *testing.T) {
	t.Parallel()
	s, _ := newServer(t)
	closed, err := s.CloseRuns(t.Context(), &facilityv1.CloseRunsRequest{SiteCode: "HILL", RunCodes: []string{"A2", "A1"},
		FirstDay: "2027-03-01", LastDay: "2027-03-07", Reason: "drains"})
	require.NoError(t, err)
	a2 := &facilityv1.Closure{Id: ids.SequenceMint(1)().String(), FirstDay: "2027-03-01", LastDay: "2027-03-07", Reason: "drains"}
	same(t, a2, closed.Closures[0])
	require.Len(t, closed.Closures, 2)

	runs := func() []*facilityv1.Run {
		got, err := s.ListRuns(t.Context(), &facilityv1.ListRunsRequest{SiteCode: "HILL"})
		require.NoError(t, err)
		require.Len(t, got.Runs, 2)
		return got.Runs
	}
	second := runs()[1]
	same(t, &facilityv1.Run{Id: second.Id, Code: "A2", Row: "A", Class: "L", LengthMm: 2400, WidthMm: 1200, HeightMm: 1800, Isolation: true,
		Closures: []*facilityv1.Closure{a2}}, second)

	reopen := func(id, from string) error {
		_, err := s.ReopenRun(t.Context(), &facilityv1.ReopenRunRequest{ClosureId: id, FromDay: from})
		return err
	}
	require.NoError(t, reopen(a2.Id, "2027-03-04"))
	require.Equal(t, "2027-03-03", runs()[1].Closures[0].LastDay)
	require.NoError(t, reopen(closed.Closures[1].Id, "2027-03-01"))
	require.Empty(t, runs()[0].Closures)
	refuses(t, reopen(closed.Closures[1].Id, "2027-03-01"), apperr.NotFound, "CLOSURE_UNKNOWN", "")
	refuses(t, reopen("x", "2027-03-01"), apperr.Invalid, "INVALID_FIELD", "closure_id")
	refuses(t, reopen(a2.Id, "1 March"), apperr.Invalid, "INVALID_FIELD", "from_day")
}

func TestServerClosesAllRunsOrNone(t *testing.T) {
	t.Parallel()
	s, pool := newServer(t)
	ask := func(change func(*facilityv1.CloseRunsRequest)) error {
		req := &facilityv1.CloseRunsRequest{SiteCode: "HILL", RunCodes: []string{"A1", "A2"}, FirstDay: "2027-03-05", LastDay: "2027-03-05", Reason: "x"}
		change(req)
		_, err := s.CloseRuns(t.Context(), req)
		return err
	}
	require.NoError(t, ask(func(r *facilityv1.CloseRunsRequest) { r.RunCodes = []string{"A2"} }))
	tests := []struct {
		change        func(*facilityv1.CloseRunsRequest)
		kind          apperr.Kind
		reason, field string
	}{
		{func(*facilityv1.CloseRunsRequest) {}, apperr.Conflict, "RUN_CLOSED_ALREADY", ""},
		{func(r *facilityv1.CloseRunsRequest) { r.RunCodes = []string{"A1", "A1"} }, apperr.Conflict, "RUN_CLOSED_ALREADY", ""},
		{func(r *facilityv1.CloseRunsRequest) { r.RunCodes = []string{"A1", "B7"} }, apperr.NotFound, "RUN_UNKNOWN", ""},
		{func(r *facilityv1.CloseRunsRequest) { r.SiteCode = "NOWHERE" }, apperr.NotFound, "SITE_UNKNOWN", ""},
		{func(r *facilityv1.CloseRunsRequest) { r.FirstDay = "2027-02-29" }, apperr.Invalid, "INVALID_FIELD", "first_day"},
		{func(r *facilityv1.CloseRunsRequest) { r.LastDay = "" }, apperr.Invalid, "INVALID_FIELD", "last_day"},
		{func(r *facilityv1.CloseRunsRequest) { r.LastDay = "2027-03-04" }, apperr.Invalid, "INVALID_FIELD", "last_day"},
		{func(r *facilityv1.CloseRunsRequest) { r.LastDay = "9999-12-31" }, apperr.Invalid, "INVALID_FIELD", "last_day"},
	}
	for _, tt := range tests {
		refuses(t, ask(tt.change), tt.kind, tt.reason, tt.field)
	}
	closures, err := listClosures(t.Context(), pool)
	require.NoError(t, err)
	require.Len(t, closures, 1, "nothing of what was refused is kept")
}

func TestServerSetsAndListsPlaces(t *testing.T) {
	t.Parallel()
	s, _ := newServer(t)
	set, err := s.SetPlaces(t.Context(), &facilityv1.SetPlacesRequest{SiteCode: "HILL", Day: "2027-02-02", Intake: 7, Handover: 8, Note: "busy"})
	require.NoError(t, err)
	day := &facilityv1.DayPlaces{Day: "2027-02-02", Intake: 7, Handover: 8, Note: "busy"}
	same(t, day, set.Places)

	got, err := s.ListPlaces(t.Context(), &facilityv1.ListPlacesRequest{SiteCode: "HILL", Month: "2027-02"})
	require.NoError(t, err)
	require.Len(t, got.Days, 28)
	same(t, &facilityv1.DayPlaces{Day: "2027-02-01", Intake: 3, Handover: 1}, got.Days[0]) // a Monday
	same(t, day, got.Days[1])
	same(t, &facilityv1.DayPlaces{Day: "2027-02-28"}, got.Days[27])

	_, err = s.ListPlaces(t.Context(), &facilityv1.ListPlacesRequest{SiteCode: "HILL", Month: "2027-13"})
	refuses(t, err, apperr.Invalid, "INVALID_FIELD", "month")
	_, err = s.ListPlaces(t.Context(), &facilityv1.ListPlacesRequest{SiteCode: "NOWHERE", Month: "2027-02"})
	refuses(t, err, apperr.NotFound, "SITE_UNKNOWN", "")
	_, err = s.SetPlaces(t.Context(), &facilityv1.SetPlacesRequest{SiteCode: "NOWHERE", Day: "2027-02-02"})
	refuses(t, err, apperr.NotFound, "SITE_UNKNOWN", "")
	_, err = s.SetPlaces(t.Context(), &facilityv1.SetPlacesRequest{SiteCode: "HILL", Day: "2 Feb"})
	refuses(t, err, apperr.Invalid, "INVALID_FIELD", "day")
}

// TestPlacesOfASiteWithoutAny: a site that has set no places has none on each day, not a month without days.
func TestPlacesOfASiteWithoutAny(t *testing.T) {
	t.Parallel()
	s, _ := newServer(t)
	got, err := s.ListPlaces(t.Context(), &facilityv1.ListPlacesRequest{SiteCode: "LAKE", Month: "2027-02"})
	require.NoError(t, err)
	require.Len(t, got.Days, 28, "ListPlacesResponse holds one entry for each day of the month")
}
