package roster

import (
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgrestest"
)

func TestTrainers(t *testing.T) {
	t.Parallel()
	tx := newTx(t)
	cy, ana := newTrainer(t, tx, "CY"), newTrainer(t, tx, "ANA")
	bare := Trainer{ID: ids.TrainerID(uuid.New()), Code: "BO", Name: "Bo", HomeSiteID: siteID(t, tx, "LAKE"), CareClasses: []string{}, Skills: map[string]int{}}
	require.NoError(t, putTrainers(t.Context(), tx, []Trainer{bare}))

	// The same code under another ID updates the trainer, keeps its ID, and drops the skills that are no longer held.
	changed := Trainer{ID: ids.TrainerID(uuid.New()), Code: "ANA", Name: "Ana Reyes", Email: "", HomeSiteID: bare.HomeSiteID, MinutesADay: 100, MostDogs: 2,
		CareClasses: []string{"open"}, Skills: map[string]int{"recall": 1, "nerves": 2}}
	require.NoError(t, putTrainers(t.Context(), tx, []Trainer{changed}))
	changed.ID = ana.ID

	all, err := ListTrainers(t.Context(), tx)
	require.NoError(t, err)
	require.Equal(t, []Trainer{changed, bare, cy}, all)

	found, err := FindTrainer(t.Context(), tx, "ANA")
	require.NoError(t, err)
	require.Equal(t, changed, found)
	_, err = FindTrainer(t.Context(), tx, "NOBODY")
	require.ErrorIs(t, err, apperr.NotFound)
	require.Equal(t, "TRAINER_UNKNOWN", apperr.ReasonOf(err))

	codes, err := TrainerCodes(t.Context(), tx)
	require.NoError(t, err)
	require.Equal(t, map[string]uuid.UUID{"ANA": ana.ID.UUID(), "BO": bare.ID.UUID(), "CY": cy.ID.UUID()}, codes)
}

// TestErrorsKeepAddressesToThemselves: a row that the database refuses must not reach a log through the error.
func TestErrorsKeepAddressesToThemselves(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	for _, spoil := range []func(*Trainer){
		func(tr *Trainer) { tr.MinutesADay = 9999 },
		func(tr *Trainer) { tr.HomeSiteID = ids.SiteID(uuid.New()) },
		func(tr *Trainer) { tr.CareClasses = []string{"wild"} },
		func(tr *Trainer) { tr.Skills = map[string]int{"heel": 4} },
	} {
		t.Run("", func(t *testing.T) {
			tx := begin(t, pool)
			tr := newTrainer(t, tx, "ANA")
			spoil(&tr)
			err := putTrainers(t.Context(), tx, []Trainer{tr})
			require.Error(t, err)
			require.NotContains(t, err.Error(), "example.org")
			require.NotContains(t, err.Error(), "Name of")
		})
	}
}

func TestShifts(t *testing.T) {
	t.Parallel()
	tx := newTx(t)
	ben, ana := newTrainer(t, tx, "BEN"), newTrainer(t, tx, "ANA")
	hill, lake := siteID(t, tx, "HILL"), siteID(t, tx, "LAKE")
	require.NoError(t, putShifts(t.Context(), tx, []Shift{
		shift(ben.ID, 1, hill, "08:00", "16:30", 30), shift(ana.ID, 7, hill, "20:00", "04:00", 45), shift(ana.ID, 2, hill, "00:00", "00:00", 0),
	}))
	require.NoError(t, putShifts(t.Context(), tx, []Shift{shift(ana.ID, 7, lake, "23:59", "12:01", 60)}))
	all, err := ListShifts(t.Context(), tx)
	require.NoError(t, err)
	require.Equal(t, []Shift{
		shift(ana.ID, 2, hill, "00:00", "00:00", 0), shift(ana.ID, 7, lake, "23:59", "12:01", 60), shift(ben.ID, 1, hill, "08:00", "16:30", 30),
	}, all)
}

func TestAbsencesDoNotOverlap(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, first, last string
		clash             bool
	}{
		{"the same days", "2027-03-10", "2027-03-15", true},
		{"its last day", "2027-03-15", "2027-03-20", true},
		{"inside", "2027-03-12", "2027-03-12", true},
		{"the days before", "2027-03-01", "2027-03-09", false},
		{"the days after", "2027-03-16", "2027-03-20", false},
	}
	pool := postgrestest.Database(t)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tx := begin(t, pool)
			ana, ben, lake := newTrainer(t, tx, "ANA"), newTrainer(t, tx, "BEN"), siteID(t, tx, "LAKE")
			away := func(tr Trainer, first, last string) error {
				return InsertAbsence(t.Context(), tx, Absence{ID: ids.AbsenceID(uuid.New()), TrainerID: tr.ID, Days: days(first, last), Kind: "leave"})
			}
			lend := func(tr Trainer, first, last string) error {
				return insertLoan(t.Context(), tx, Loan{ID: ids.LoanID(uuid.New()), TrainerID: tr.ID, SiteID: lake, Days: days(first, last)})
			}
			for _, insert := range []struct {
				do     func(tr Trainer, first, last string) error
				reason string
			}{{away, "TRAINER_AWAY_ALREADY"}, {lend, "TRAINER_LENT_ALREADY"}} {
				require.NoError(t, insert.do(ana, "2027-03-10", "2027-03-15"))
				require.NoError(t, insert.do(ben, tt.first, tt.last), "another trainer")
				_, err := tx.Exec(t.Context(), `savepoint before`)
				require.NoError(t, err)
				err = insert.do(ana, tt.first, tt.last)
				if !tt.clash {
					require.NoError(t, err)
					continue
				}
				require.ErrorIs(t, err, apperr.Conflict)
				require.Equal(t, insert.reason, apperr.ReasonOf(err))
				require.ErrorContains(t, err, "from "+tt.first+" to "+tt.last)
				_, err = tx.Exec(t.Context(), `rollback to before`)
				require.NoError(t, err)
			}
		})
	}
}

func TestOtherFaultsOfAnInsertAreNoConflict(t *testing.T) {
	t.Parallel()
	nobody := ids.TrainerID(uuid.New())
	err := InsertAbsence(t.Context(), newTx(t), Absence{ID: ids.AbsenceID(uuid.New()), TrainerID: nobody, Days: days("2027-03-01", "2027-03-01"), Kind: "leave"})
	require.ErrorContains(t, err, "insert absence: ")
	require.Equal(t, apperr.Internal, apperr.KindOf(err))
	err = insertLoan(t.Context(), newTx(t), Loan{ID: ids.LoanID(uuid.New()), TrainerID: nobody, Days: days("2027-03-01", "2027-03-01")})
	require.ErrorContains(t, err, "insert loan: ")
	require.Equal(t, apperr.Internal, apperr.KindOf(err))
}

func TestAbsencesAndLoansOfASpan(t *testing.T) {
	t.Parallel()
	tx := newTx(t)
	ben, ana, lake := newTrainer(t, tx, "BEN"), newTrainer(t, tx, "ANA"), siteID(t, tx, "LAKE")
	var absences []Absence
	var loans []Loan
	for _, one := range []struct {
		tr          Trainer
		first, last string
	}{{ana, "2027-02-20", "2027-02-28"}, {ana, "2027-03-31", "2027-04-20"}, {ben, "2027-03-01", "2027-03-01"}, {ben, "2027-04-01", "2027-04-02"}} {
		absences = append(absences, Absence{ID: ids.AbsenceID(uuid.New()), TrainerID: one.tr.ID, Days: days(one.first, one.last), Kind: "sickness"})
		loans = append(loans, Loan{ID: ids.LoanID(uuid.New()), TrainerID: one.tr.ID, SiteID: lake, Days: days(one.first, one.last)})
	}
	for i := len(absences) - 1; i >= 0; i-- {
		require.NoError(t, InsertAbsence(t.Context(), tx, absences[i]))
		require.NoError(t, insertLoan(t.Context(), tx, loans[i]))
	}
	for _, tt := range []struct {
		span calendar.Span
		from []int
	}{
		{calendar.Span{}, []int{0, 1, 2, 3}},
		{days("2027-03-01", "2027-03-31"), []int{1, 2}},
		{days("2027-03-02", "2027-03-30"), nil},
		{days("2027-02-28", "2027-03-01"), []int{0, 2}},
	} {
		wantAbsences, wantLoans := []Absence{}, []Loan{}
		for _, i := range tt.from {
			wantAbsences, wantLoans = append(wantAbsences, absences[i]), append(wantLoans, loans[i])
		}
		gotAbsences, err := ListAbsences(t.Context(), tx, tt.span)
		require.NoError(t, err)
		require.Equal(t, wantAbsences, gotAbsences)
		gotLoans, err := ListLoans(t.Context(), tx, tt.span)
		require.NoError(t, err)
		require.Equal(t, wantLoans, gotLoans)
	}

	require.NoError(t, deleteAbsence(t.Context(), tx, absences[0].ID))
	left, err := ListAbsences(t.Context(), tx, calendar.Span{})
	require.NoError(t, err)
	require.Equal(t, absences[1:], left)
	err = deleteAbsence(t.Context(), tx, absences[0].ID)
	require.ErrorIs(t, err, apperr.NotFound)
	require.Equal(t, "ABSENCE_UNKNOWN", apperr.ReasonOf(err))
}

func TestWorkRules(t *testing.T) {
	t.Parallel()
	tx := newTx(t)
	hill := WorkRule{SiteID: siteID(t, tx, "HILL"), DailyRestMinutes: 660, MealAfterMinutes: 360, MealMinutes: 20, WeeklyMinutes: 2880, WeeklyRestMinutes: 1440, Citation: "handbook"}
	lake := WorkRule{SiteID: siteID(t, tx, "LAKE"), Citation: "none"}
	require.NoError(t, putWorkRules(t.Context(), tx, []WorkRule{hill, lake}))
	hill.MealMinutes, hill.Citation = 45, "new handbook"
	require.NoError(t, putWorkRules(t.Context(), tx, []WorkRule{hill}))
	all, err := ListWorkRules(t.Context(), tx)
	require.NoError(t, err)
	require.ElementsMatch(t, []WorkRule{hill, lake}, all)
}

func TestListDaysJoinsWhatIsStored(t *testing.T) {
	t.Parallel()
	tx := newTx(t)
	ben, ana := newTrainer(t, tx, "BEN"), newTrainer(t, tx, "ANA")
	hill, lake := siteID(t, tx, "HILL"), siteID(t, tx, "LAKE")
	require.NoError(t, putShifts(t.Context(), tx, []Shift{
		shift(ben.ID, 1, hill, "08:00", "12:00", 30), shift(ana.ID, 1, hill, "08:00", "16:30", 30), shift(ana.ID, 2, hill, "08:00", "16:30", 30),
	}))
	// Both begin before the month and reach into it.
	require.NoError(t, InsertAbsence(t.Context(), tx, Absence{ID: ids.AbsenceID(uuid.New()), TrainerID: ana.ID, Days: days("2027-02-20", "2027-03-01"), Kind: "duty"}))
	require.NoError(t, insertLoan(t.Context(), tx, Loan{ID: ids.LoanID(uuid.New()), TrainerID: ana.ID, SiteID: lake, Days: days("2027-02-20", "2027-03-02")}))

	trainers, got, err := ListDays(t.Context(), tx, days("2027-03-01", "2027-03-08"))
	require.NoError(t, err)
	require.Equal(t, []Trainer{ana, ben}, trainers)
	clock := calendar.MustClock
	require.Equal(t, []TrainerDay{
		{ana.ID, lake, calendar.MustDate("2027-03-02"), 360, 6, clock("08:00"), clock("16:30"), 30},
		{ana.ID, hill, calendar.MustDate("2027-03-08"), 360, 6, clock("08:00"), clock("16:30"), 30},
		{ben.ID, hill, calendar.MustDate("2027-03-01"), 210, 6, clock("08:00"), clock("12:00"), 30},
		{ben.ID, hill, calendar.MustDate("2027-03-08"), 210, 6, clock("08:00"), clock("12:00"), 30},
	}, got)

	_, _, err = ListDays(t.Context(), tx, calendar.Span{})
	require.ErrorContains(t, err, "holds no day")
}
