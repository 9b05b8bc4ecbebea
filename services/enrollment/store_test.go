package enrollment

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/workload"
)

func (s *school) dog(t testing.TB, code string) ids.DogID {
	t.Helper()
	id, ok := s.codes(t, KindDogs)[code]
	require.True(t, ok, code)
	return ids.DogID(id)
}

func (s *school) request(t testing.TB, code string) ids.RequestID {
	t.Helper()
	id, ok := s.codes(t, KindRequests)[code]
	require.True(t, ok, code)
	return ids.RequestID(id)
}

// TestStore reads one filled school through every function that reads.
func TestStore(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	bo, dot, kim, nobody := s.dog(t, "BO"), s.dog(t, "DOT"), s.dog(t, "KIM"), ids.DogID(uuid.New())

	t.Run("owners", func(t *testing.T) {
		t.Parallel()
		owners, err := ListOwners(t.Context(), s)
		require.NoError(t, err)
		require.Len(t, owners, 2)
		require.Equal(t, Owner{ID: owners[0].ID, Code: "LOWE", Name: "Sam Lowe", Email: "sam@example.org", Phone: "+1 555 0100", Zone: "America/Denver"}, owners[0])
		byDog, err := ListOwnersByDog(t.Context(), s, []ids.DogID{bo, kim, nobody})
		require.NoError(t, err)
		require.Equal(t, map[ids.DogID]Owner{bo: owners[0], kim: owners[1]}, byDog)
		codes, err := OwnerCodes(t.Context(), s)
		require.NoError(t, err)
		require.Equal(t, map[string]uuid.UUID{"LOWE": owners[0].ID.UUID(), "MOSS": owners[1].ID.UUID()}, codes)
	})

	t.Run("programs", func(t *testing.T) {
		t.Parallel()
		programs, err := ListPrograms(t.Context(), s)
		require.NoError(t, err)
		codes, err := ProgramCodes(t.Context(), s)
		require.NoError(t, err)
		require.Equal(t, []Program{
			{ID: ids.ProgramID(codes["LONG"]), Code: "LONG", Name: "Four weeks", Nights: 28, SessionsADay: 4, SessionMinutes: 15, LeastAgeMonths: 9,
				Goals: map[workload.Skill]int{workload.Heel: 1, workload.Hold: 1, workload.Recall: 2, workload.Distance: 3}},
			{ID: ids.ProgramID(codes["MANNERS"]), Code: "MANNERS", Name: "Two weeks of manners", Nights: 14, SessionsADay: 3, SessionMinutes: 20,
				LeastAgeMonths: 6, Goals: map[workload.Skill]int{workload.Heel: 1, workload.Recall: 1}},
		}, programs)
	})

	t.Run("dogs", func(t *testing.T) {
		t.Parallel()
		owners, err := OwnerCodes(t.Context(), s)
		require.NoError(t, err)
		want := Dog{ID: bo, Code: "BO", OwnerID: ids.OwnerID(owners["LOWE"]), Name: "Bo", Breed: "mixed", Sex: Female, Born: day("2025-06-15"),
			WeightG: 21_500, LengthMM: 780, HeightMM: 620, SeasonStarted: day("2027-02-20"), Note: "afraid of brooms"}
		dogs, err := ListDogs(t.Context(), s)
		require.NoError(t, err)
		require.Len(t, dogs, 3)
		require.Equal(t, want, dogs[0])
		byID, err := ListDogsByID(t.Context(), s, []ids.DogID{bo, dot, nobody})
		require.NoError(t, err)
		require.Equal(t, map[ids.DogID]Dog{bo: want, dot: dogs[1]}, byID)
		byCode, err := ListDogsByCode(t.Context(), s, []string{"DOT", "BOB", "BO"})
		require.NoError(t, err)
		require.Equal(t, []Dog{byID[bo], byID[dot]}, byCode)
		found, err := findDog(t.Context(), s, "BO")
		require.NoError(t, err)
		require.Equal(t, want, found)
		_, err = findDog(t.Context(), s, "BOB")
		require.ErrorIs(t, err, apperr.NotFound)
	})

	t.Run("what is known of dogs", func(t *testing.T) {
		t.Parallel()
		shots, err := listShots(t.Context(), s, []ids.DogID{bo, kim, nobody})
		require.NoError(t, err)
		require.Equal(t, map[ids.DogID][]Shot{bo: {
			{Vaccine: "bordetella", Given: day("2026-09-01"), Course: CoursePrimary, LabelMonths: 12},
			{Vaccine: "rabies", Given: day("2025-09-20"), Course: CoursePrimary, LabelMonths: 12},
			{Vaccine: "rabies", Given: day("2026-09-20"), Course: CourseBooster, LabelMonths: 36},
		}}, shots)
		answers, err := listAnswersOf(t.Context(), s, []ids.DogID{bo, dot, kim})
		require.NoError(t, err)
		require.Equal(t, map[ids.DogID]map[workload.Question]int{
			bo: {workload.Excitable: 4, workload.PullsOnLead: 3}, dot: {workload.FearsStrangers: 0}}, answers)
		latest, err := listLatestOverrides(t.Context(), s, []ids.DogID{bo, kim})
		require.NoError(t, err)
		require.Equal(t, map[ids.DogID]*Override{bo: {DogID: bo, DecidedAt: time.Date(2027, 1, 15, 10, 20, 30, 123456000, time.UTC),
			DecidedBy: "ANA", Care: workload.Guarded, Reason: "jumps at strangers"}}, latest)
		all, err := listOverridesOf(t.Context(), s, []ids.DogID{bo})
		require.NoError(t, err)
		require.Len(t, all, 2)
		require.Equal(t, *latest[bo], all[latest[bo].key()])
	})

	t.Run("known requests", func(t *testing.T) {
		t.Parallel()
		for _, tt := range []struct {
			codes      []string
			dogs       []ids.DogID
			households []string
			want       []string
		}{
			{[]string{"R-3", "R-9"}, nil, nil, []string{"R-3"}},
			{nil, []ids.DogID{bo, kim}, nil, []string{"R-1"}}, // that of Kim is withdrawn
			{nil, nil, []string{"LOWE-SPRING"}, []string{"R-1", "R-2"}},
			{nil, nil, []string{""}, nil},
		} {
			known, err := listKnown(t.Context(), s, tt.codes, tt.dogs, tt.households)
			require.NoError(t, err)
			var codes []string
			for _, k := range known {
				codes = append(codes, k.Code)
			}
			require.Equal(t, tt.want, codes)
		}
		known, err := listKnown(t.Context(), s, []string{"R-1"}, nil, nil)
		require.NoError(t, err)
		require.Equal(t, []knownRequest{{Code: "R-1", DogID: bo, Days: days("2027-03-01", "2027-03-21"), Nights: 14, Household: "LOWE-SPRING", State: StateOpen}}, known)
	})
}

func TestAWordAtTheSameInstantIsAConflict(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, KindRequests)
	word := Override{DogID: s.dog(t, "KIM"), DecidedAt: testNow, DecidedBy: "ANA", Minutes: 50, Reason: "quick"}
	insert := func(o Override) error {
		return postgres.InTx(t.Context(), s.Pool, func(tx postgres.Tx) error { return insertOverride(t.Context(), tx, uuid.New(), o) })
	}
	require.NoError(t, insert(word))
	word.Minutes = 60
	require.ErrorIs(t, insert(word), apperr.Conflict)
	word.DecidedAt = testNow.Add(time.Microsecond)
	require.NoError(t, insert(word))
	latest, err := listLatestOverrides(t.Context(), s, []ids.DogID{word.DogID})
	require.NoError(t, err)
	require.Equal(t, word, *latest[word.DogID])
	word.DogID = ids.DogID(uuid.New())
	err = insert(word)
	require.Error(t, err)
	require.Equal(t, apperr.Internal, apperr.KindOf(err), "an unknown dog is caught before")
}

func TestPutInChunks(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	owners := make([]Owner, 2*putChunk+1)
	for i := range owners {
		id := uuid.New()
		owners[i] = Owner{ID: ids.OwnerID(id), Code: id.String(), Name: "N"}
	}
	err := postgres.InTx(t.Context(), s.Pool, func(tx postgres.Tx) error { return putOwners(t.Context(), tx, owners) })
	require.NoError(t, err)
	stored, err := ListOwners(t.Context(), s)
	require.NoError(t, err)
	require.ElementsMatch(t, owners, stored)
}

func TestPutErrorsHoldNoPersonalData(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	err := postgres.InTx(t.Context(), s.Pool, func(tx postgres.Tx) error {
		same := ids.OwnerID(uuid.New())
		return putOwners(t.Context(), tx, []Owner{{ID: same, Code: "A", Name: "Sam Lowe", Email: "sam@example.org"}, {ID: same, Code: "B", Name: "Sam Lowe", Phone: "5550100"}})
	})
	require.Error(t, err)
	for _, personal := range []string{"Sam", "Lowe", "example.org", "5550100"} {
		require.NotContains(t, err.Error(), personal)
	}
}

func codesOf(cases []Case) []string {
	var codes []string
	for _, c := range cases {
		codes = append(codes, c.Request.Code)
	}
	return codes
}

func TestListCasesTakesTheWindowsThatTouchTheMonth(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, KindDogs)
	dogs := []string{dogsCSV}
	for _, code := range []string{"A", "B", "C", "D", "E", "F"} {
		dogs = append(dogs, code+",LOWE,Rex,,0,no,male,2025-06-15,20.0,700,600,,,")
	}
	s.mustPut(t, KindDogs, dogs...)
	s.mustPut(t, KindRequests, requestFile(
		"A,A,MANNERS,2027-03-20,2027-03-31,", // ends before April
		"B,B,MANNERS,2027-03-20,2027-04-01,",
		"C,C,MANNERS,2027-04-10,2027-04-10,",
		"D,D,MANNERS,2027-04-30,2027-05-20,",
		"E,E,MANNERS,2027-05-01,2027-05-20,", // begins after April
		"F,F,MANNERS,2027-01-01,2027-12-31,",
	)...)
	s.mustPut(t, KindRequests, requestsCSV, "G,A,MANNERS,2027-04-10,2027-04-11,,3,no,2027-01-01,,withdrawn,")
	cases, err := ListCases(t.Context(), s, calendar.MustMonth("2027-04"))
	require.NoError(t, err)
	require.Equal(t, []string{"B", "C", "D", "F"}, codesOf(cases))
	for _, c := range cases {
		require.Equal(t, c.Request.Window, c.Together, "a dog that comes alone")
		require.Equal(t, c.Request.Code, c.Dog.Code)
		require.Equal(t, "MANNERS", c.Program.Code)
	}
	cases, err = ListCases(t.Context(), s, calendar.MustMonth("2026-04"))
	require.NoError(t, err)
	require.Empty(t, cases)

	cases, err = ListCasesByRequest(t.Context(), s, []ids.RequestID{s.request(t, "G"), s.request(t, "A"), ids.RequestID(uuid.New())})
	require.NoError(t, err)
	require.Equal(t, []string{"A", "G"}, codesOf(cases), "whatever their month and state")
	cases, err = ListCasesByRequest(t.Context(), s, nil)
	require.NoError(t, err)
	require.Empty(t, cases)
}

func TestACaseHoldsAllThatIsKnown(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	cases, err := ListCases(t.Context(), s, calendar.MustMonth("2027-03"))
	require.NoError(t, err)
	require.Equal(t, []string{"R-1", "R-2"}, codesOf(cases))
	c := cases[0]
	require.Equal(t, Request{ID: s.request(t, "R-1"), Code: "R-1", DogID: s.dog(t, "BO"), ProgramID: ids.ProgramID(s.codes(t, KindPrograms)["MANNERS"]),
		Window: days("2027-03-01", "2027-03-21"), Wished: day("2027-03-08"), Priority: 3, Deposit: true, AskedOn: day("2027-01-11"),
		Household: "LOWE-SPRING", State: StateOpen, Note: "back on the 20th",
		// The ID of LAKE is the lower one.
		Sites: []SiteChoice{{s.sites[1].ID, 0}, {s.sites[0].ID, 35}}}, c.Request)
	require.Equal(t, "BO", c.Dog.Code)
	require.Equal(t, "MANNERS", c.Program.Code)
	require.Len(t, c.Shots, 3)
	require.Len(t, c.Answers, 2)
	require.Equal(t, "jumps at strangers", c.Override.Reason)
	require.Equal(t, days("2027-03-15", "2027-03-21"), c.Together)
	require.Equal(t, days("2027-03-15", "2027-03-21"), cases[1].Together)
	require.Equal(t, "knows her", cases[1].Override.Reason)

	byID, err := ListCasesByRequest(t.Context(), s, []ids.RequestID{c.Request.ID})
	require.NoError(t, err)
	require.Equal(t, cases[:1], byID)

	april, err := ListCases(t.Context(), s, calendar.MustMonth("2027-04"))
	require.NoError(t, err)
	require.Equal(t, []string{"R-2"}, codesOf(april))
	require.False(t, april[0].Together.Overlaps(calendar.MustMonth("2027-04").Span()), "its household cannot come in April")
}

// TestTogetherIsEmptyWhenNoDaySuitsAll makes by hand what imports refuse.
func TestTogetherIsEmptyWhenNoDaySuitsAll(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	_, err := s.Exec(t.Context(), `update enrollment.request set window_days = '[2027-03-01,2027-03-05)' where code = 'R-1'`)
	require.NoError(t, err)
	cases, err := ListCases(t.Context(), s, calendar.MustMonth("2027-03"))
	require.NoError(t, err)
	require.Equal(t, []string{"R-1", "R-2"}, codesOf(cases))
	require.Equal(t, []calendar.Span{{}, {}}, []calendar.Span{cases[0].Together, cases[1].Together})
	require.Equal(t, days("2027-03-01", "2027-03-04"), cases[0].Request.Window)

	err = postgres.InTx(t.Context(), s.Pool, func(tx postgres.Tx) error { return withdraw(t.Context(), tx, "R-2") })
	require.NoError(t, err)
	cases, err = ListCases(t.Context(), s, calendar.MustMonth("2027-03"))
	require.NoError(t, err)
	require.Equal(t, cases[0].Request.Window, cases[0].Together, "who withdrew binds nobody")
	gone, err := ListCasesByRequest(t.Context(), s, []ids.RequestID{s.request(t, "R-2")})
	require.NoError(t, err)
	require.Equal(t, gone[0].Request.Window, gone[0].Together, "and is bound by nobody")
}
