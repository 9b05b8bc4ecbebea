package roster

import (
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"

	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

// newServer answers from a database of its own: ANA works Mondays and Tuesdays at HILL, BEN Mondays at LAKE.
func newServer(t *testing.T) (*Server, *postgres.Pool) {
	t.Helper()
	pool := postgrestest.Database(t)
	require.NoError(t, postgres.InTx(t.Context(), pool, func(tx postgres.Tx) error {
		putSites(t, tx)
		require.Empty(t, importCSV(t, tx, KindTrainers, trainersCSV,
			"ANA,Ana Reyes,ana@example.org,HILL,360,6,open|guarded,3,,,,,1", "BEN,Ben Ode,,LAKE,120,2,,,,,,,"))
		require.Empty(t, importCSV(t, tx, KindShifts, shiftsCSV,
			"ANA,monday,HILL,14:00,22:00,30", "ANA,tuesday,HILL,06:00,14:00,10", "BEN,monday,LAKE,08:00,12:00,0"))
		require.Empty(t, importCSV(t, tx, KindWorkRules, rulesCSV, "HILL,660,360,20,0,0,staff handbook 4"))
		return nil
	}))
	return NewServer(Deps{Pool: pool, Mint: ids.SequenceMint(1), Sites: realSites}), pool
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
	pool := postgrestest.Pool(t)
	require.Panics(t, func() { NewServer(Deps{Mint: uuid.New, Sites: realSites}) })
	require.Panics(t, func() { NewServer(Deps{Pool: pool, Sites: realSites}) })
	require.Panics(t, func() { NewServer(Deps{Pool: pool, Mint: uuid.New}) })
}

func TestServerListsTrainers(t *testing.T) {
	t.Parallel()
	s, pool := newServer(t)
	known, err := TrainerCodes(t.Context(), pool)
	require.NoError(t, err)
	ana := &rosterv1.Trainer{Id: known["ANA"].String(), Code: "ANA", Name: "Ana Reyes", HomeSiteCode: "HILL", MinutesADay: 360, MostDogs: 6,
		Skills: map[string]int32{"heel": 3, "reactivity": 1}, CareClasses: []string{"open", "guarded"}}
	ben := &rosterv1.Trainer{Id: known["BEN"].String(), Code: "BEN", Name: "Ben Ode", HomeSiteCode: "LAKE", MinutesADay: 120, MostDogs: 2}
	for site, want := range map[string][]*rosterv1.Trainer{"": {ana, ben}, "HILL": {ana}, "LAKE": {ben}} {
		got, err := s.ListTrainers(t.Context(), &rosterv1.ListTrainersRequest{SiteCode: site})
		require.NoError(t, err)
		same(t, &rosterv1.ListTrainersResponse{Trainers: want}, got)
		require.NotContains(t, got.String(), "example.org")
	}
	_, err = s.ListTrainers(t.Context(), &rosterv1.ListTrainersRequest{SiteCode: "NOWHERE"})
	refuses(t, err, apperr.NotFound, "SITE_UNKNOWN", "")
}

// workdays lists the days of a month as "ANA 02-01 HILL 360".
func workdays(t *testing.T, s *Server, month, site string) []string {
	t.Helper()
	got, err := s.ListTrainerDays(t.Context(), &rosterv1.ListTrainerDaysRequest{Month: month, SiteCode: site})
	require.NoError(t, err)
	out := []string{}
	for _, d := range got.Days {
		require.Equal(t, map[string]int32{"ANA": 6, "BEN": 2}[d.TrainerCode], d.Dogs)
		require.Equal(t, map[string]int32{"ANA": 360, "BEN": 120}[d.TrainerCode], d.Minutes)
		out = append(out, d.TrainerCode+" "+d.Day[5:]+" "+d.SiteCode)
	}
	return out
}

func TestServerRecordsAbsencesAndLoans(t *testing.T) {
	t.Parallel()
	s, _ := newServer(t)
	ben := []string{"BEN 02-01 LAKE", "BEN 02-08 LAKE", "BEN 02-15 LAKE", "BEN 02-22 LAKE"}
	require.Equal(t, append([]string{"ANA 02-01 HILL", "ANA 02-02 HILL", "ANA 02-08 HILL", "ANA 02-09 HILL", "ANA 02-15 HILL", "ANA 02-16 HILL",
		"ANA 02-22 HILL", "ANA 02-23 HILL"}, ben...), workdays(t, s, "2027-02", ""))

	away := &rosterv1.RecordAbsenceRequest{TrainerCode: "ANA", FirstDay: "2027-02-02", LastDay: "2027-02-08", Kind: rosterv1.AbsenceKind_ABSENCE_KIND_SICKNESS}
	absence, err := s.RecordAbsence(t.Context(), away)
	require.NoError(t, err)
	lend := &rosterv1.LendTrainerRequest{TrainerCode: "ANA", SiteCode: "LAKE", FirstDay: "2027-02-16", LastDay: "2027-02-22"}
	loan, err := s.LendTrainer(t.Context(), lend)
	require.NoError(t, err)
	_, err = ids.Parse[ids.LoanID](loan.LoanId)
	require.NoError(t, err)

	require.Equal(t, append([]string{"ANA 02-01 HILL", "ANA 02-09 HILL", "ANA 02-15 HILL", "ANA 02-16 LAKE", "ANA 02-22 LAKE", "ANA 02-23 HILL"}, ben...),
		workdays(t, s, "2027-02", ""))
	require.Equal(t, []string{"ANA 02-01 HILL", "ANA 02-09 HILL", "ANA 02-15 HILL", "ANA 02-23 HILL"}, workdays(t, s, "2027-02", "HILL"))
	require.Equal(t, append([]string{"ANA 02-16 LAKE", "ANA 02-22 LAKE"}, ben...), workdays(t, s, "2027-02", "LAKE"))

	_, err = s.RecordAbsence(t.Context(), away)
	refuses(t, err, apperr.Conflict, "TRAINER_AWAY_ALREADY", "")
	_, err = s.LendTrainer(t.Context(), lend)
	refuses(t, err, apperr.Conflict, "TRAINER_LENT_ALREADY", "")

	_, err = s.RemoveAbsence(t.Context(), &rosterv1.RemoveAbsenceRequest{AbsenceId: absence.AbsenceId})
	require.NoError(t, err)
	require.Len(t, workdays(t, s, "2027-02", ""), 12)
	_, err = s.RemoveAbsence(t.Context(), &rosterv1.RemoveAbsenceRequest{AbsenceId: absence.AbsenceId})
	refuses(t, err, apperr.NotFound, "ABSENCE_UNKNOWN", "")
}

func TestServerKeepsTheKindOfAnAbsence(t *testing.T) {
	t.Parallel()
	s, pool := newServer(t)
	for kind, word := range map[rosterv1.AbsenceKind]string{1: "leave", 2: "sickness", 3: "duty"} {
		day := calendar.MustDate("2027-02-01").AddDays(int(kind)).String()
		made, err := s.RecordAbsence(t.Context(), &rosterv1.RecordAbsenceRequest{TrainerCode: "ANA", FirstDay: day, LastDay: day, Kind: kind})
		require.NoError(t, err)
		absences, err := ListAbsences(t.Context(), pool, days(day, day))
		require.NoError(t, err)
		require.Len(t, absences, 1)
		require.Equal(t, []string{made.AbsenceId, word}, []string{absences[0].ID.String(), absences[0].Kind})
	}
}

func TestServerRefusesBadRequests(t *testing.T) {
	t.Parallel()
	s, pool := newServer(t)
	absence := func(change func(*rosterv1.RecordAbsenceRequest)) error {
		req := &rosterv1.RecordAbsenceRequest{TrainerCode: "ANA", FirstDay: "2027-02-02", LastDay: "2027-02-08", Kind: 1}
		change(req)
		_, err := s.RecordAbsence(t.Context(), req)
		return err
	}
	loan := func(change func(*rosterv1.LendTrainerRequest)) error {
		req := &rosterv1.LendTrainerRequest{TrainerCode: "ANA", SiteCode: "LAKE", FirstDay: "2027-02-02", LastDay: "2027-02-08"}
		change(req)
		_, err := s.LendTrainer(t.Context(), req)
		return err
	}
	removed := func(id string) error {
		_, err := s.RemoveAbsence(t.Context(), &rosterv1.RemoveAbsenceRequest{AbsenceId: id})
		return err
	}
	listed := func(month, site string) error {
		_, err := s.ListTrainerDays(t.Context(), &rosterv1.ListTrainerDaysRequest{Month: month, SiteCode: site})
		return err
	}
	checked := func(month string) error {
		_, err := s.CheckWorkRules(t.Context(), &rosterv1.CheckWorkRulesRequest{Month: month})
		return err
	}
	for _, tt := range []struct {
		err           error
		kind          apperr.Kind
		reason, field string
	}{
		{absence(func(r *rosterv1.RecordAbsenceRequest) { r.TrainerCode = "NOBODY" }), apperr.NotFound, "TRAINER_UNKNOWN", ""},
		{absence(func(r *rosterv1.RecordAbsenceRequest) { r.FirstDay = "2027-02-30" }), apperr.Invalid, "INVALID_FIELD", "first_day"},
		{absence(func(r *rosterv1.RecordAbsenceRequest) { r.LastDay = "8 Feb" }), apperr.Invalid, "INVALID_FIELD", "last_day"},
		{absence(func(r *rosterv1.RecordAbsenceRequest) { r.LastDay = "2027-02-01" }), apperr.Invalid, "INVALID_FIELD", "last_day"},
		{absence(func(r *rosterv1.RecordAbsenceRequest) { r.LastDay = "9999-12-31" }), apperr.Invalid, "INVALID_FIELD", "last_day"},
		{absence(func(r *rosterv1.RecordAbsenceRequest) { r.Kind = 0 }), apperr.Invalid, "INVALID_FIELD", "kind"},
		{absence(func(r *rosterv1.RecordAbsenceRequest) { r.Kind = 9 }), apperr.Invalid, "INVALID_FIELD", "kind"},
		{loan(func(r *rosterv1.LendTrainerRequest) { r.TrainerCode = "NOBODY" }), apperr.NotFound, "TRAINER_UNKNOWN", ""},
		{loan(func(r *rosterv1.LendTrainerRequest) { r.SiteCode = "NOWHERE" }), apperr.NotFound, "SITE_UNKNOWN", ""},
		{loan(func(r *rosterv1.LendTrainerRequest) { r.FirstDay = "" }), apperr.Invalid, "INVALID_FIELD", "first_day"},
		{loan(func(r *rosterv1.LendTrainerRequest) { r.LastDay = "2027-02-01" }), apperr.Invalid, "INVALID_FIELD", "last_day"},
		{removed("x"), apperr.Invalid, "INVALID_FIELD", "absence_id"},
		{removed(uuid.NewString()), apperr.NotFound, "ABSENCE_UNKNOWN", ""},
		{listed("2027-13", ""), apperr.Invalid, "INVALID_FIELD", "month"},
		{listed("2027-02", "NOWHERE"), apperr.NotFound, "SITE_UNKNOWN", ""},
		{checked("February"), apperr.Invalid, "INVALID_FIELD", "month"},
		{checked("0001-01"), apperr.Invalid, "INVALID_FIELD", "month"},
		{checked("9999-12"), apperr.Invalid, "INVALID_FIELD", "month"},
	} {
		refuses(t, tt.err, tt.kind, tt.reason, tt.field)
	}
	require.NoError(t, checked("0001-02"))
	require.NoError(t, checked("9999-11"))
	absences, err := ListAbsences(t.Context(), pool, calendar.Span{})
	require.NoError(t, err)
	require.Empty(t, absences)
}

func TestServerChecksWorkRules(t *testing.T) {
	t.Parallel()
	s, _ := newServer(t)
	// In the week of 1 March ANA is lent to LAKE on Tuesday, which has no rules; on 8 March she is away.
	_, err := s.LendTrainer(t.Context(), &rosterv1.LendTrainerRequest{TrainerCode: "ANA", SiteCode: "LAKE", FirstDay: "2027-03-02", LastDay: "2027-03-02"})
	require.NoError(t, err)
	_, err = s.RecordAbsence(t.Context(), &rosterv1.RecordAbsenceRequest{TrainerCode: "ANA", FirstDay: "2027-03-08", LastDay: "2027-03-20", Kind: 1})
	require.NoError(t, err)

	got, err := s.CheckWorkRules(t.Context(), &rosterv1.CheckWorkRulesRequest{Month: "2027-03"})
	require.NoError(t, err)
	require.Equal(t, WorkRulesCaution, got.Caution)
	var found []string
	for _, f := range got.Findings {
		require.Equal(t, []string{"ANA", "staff handbook 4"}, []string{f.TrainerCode, f.Citation})
		require.NotEmpty(t, f.Remedy)
		found = append(found, f.Day+" "+f.Rule+": "+f.Measured+", "+f.Required)
	}
	require.Equal(t, []string{
		// 22:00 in Denver to 06:00 in London is 1 h: London is 7 hours ahead until Denver's clocks change on 14 March.
		"2027-03-02 daily rest: 1 h after the shift of 2027-03-01, at least 11 h",
		"2027-03-23 daily rest: 8 h after the shift of 2027-03-22, at least 11 h",
		"2027-03-23 meal break: 10 min in a shift of 8 h, at least 20 min in a shift longer than 6 h",
		"2027-03-30 daily rest: 8 h after the shift of 2027-03-29, at least 11 h",
		"2027-03-30 meal break: 10 min in a shift of 8 h, at least 20 min in a shift longer than 6 h",
	}, found)
}
