package training

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// same compares messages.
func same(t testing.TB, want, got proto.Message) {
	t.Helper()
	require.True(t, proto.Equal(want, got), "want %v\ngot  %v", want, got)
}

func TestNewServerAsksForItsDependencies(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	whole := s.deps
	for name, lack := range map[string]func(*Deps){
		"pool": func(d *Deps) { d.Pool = nil }, "clock": func(d *Deps) { d.Now = nil }, "caller": func(d *Deps) { d.Caller = nil },
		"dogs by code": func(d *Deps) { d.Known.DogsByCode = nil }, "dogs by ID": func(d *Deps) { d.Known.DogsByID = nil },
		"trainers": func(d *Deps) { d.Known.Trainers = nil }, "programs": func(d *Deps) { d.Known.Programs = nil },
	} {
		d := whole
		lack(&d)
		require.Panics(t, func() { NewServer(d) }, name)
	}
}

func TestASessionIsKeptAsItWasSent(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	e := entry()
	got := s.logs(t, e)
	settled := int32(2)
	same(t, &trainingv1.Session{Id: e.GetKey(), DogCode: "BO", TrainerCode: "ANA", SkillCode: "SIT-STAY", TrainedAt: e.GetTrainedAt(), ArrivedAt: timestamppb.New(testNow),
		AheadSeconds: -240, Day: "2027-03-08", Trials: 10, Successes: 8, HoldSeconds: 60, DistanceCm: 183, Distraction: 1, Settled: &settled,
		Note: "looked for the ball", LoggedBy: "ANA"}, got)

	bare := &trainingv1.Entry{Key: uuid.NewString(), DogCode: "BO", SkillCode: "HEEL", TrainedAt: timestamppb.New(testNow), Trials: 1}
	least := s.logs(t, bare)
	require.Equal(t, "ANA", least.GetTrainerCode(), "without a trainer it is the one who is named like the caller")
	require.Nil(t, least.Settled, "what was not noted stays absent")

	list, err := s.ListSessions(t.Context(), &trainingv1.ListSessionsRequest{DogCode: "BO"})
	require.NoError(t, err)
	same(t, &trainingv1.ListSessionsResponse{Sessions: []*trainingv1.Session{got, least}}, list)
}

func TestSentTwiceItArrivesOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	e := entry()
	first := s.logs(t, e)
	before := s.contents(t)
	s.at(testNow.Add(48 * time.Hour))
	same(t, first, s.logs(t, e))
	require.Equal(t, before, s.contents(t))

	for name, change := range map[string]func(*trainingv1.Entry){
		"dog": func(e *trainingv1.Entry) { e.DogCode = "DOT" }, "trainer": func(e *trainingv1.Entry) { e.TrainerCode = "BEN" },
		"skill": func(e *trainingv1.Entry) { e.SkillCode = "COME" }, "trials": func(e *trainingv1.Entry) { e.Trials = 11 },
		"successes": func(e *trainingv1.Entry) { e.Successes = 7 }, "hold": func(e *trainingv1.Entry) { e.HoldSeconds = 0 },
		"distance": func(e *trainingv1.Entry) { e.DistanceCm = 0 }, "distraction": func(e *trainingv1.Entry) { e.Distraction = 0 },
		"settled": func(e *trainingv1.Entry) { *e.Settled = 3 }, "not noted": func(e *trainingv1.Entry) { e.Settled = nil },
		"note":    func(e *trainingv1.Entry) { e.Note = "" },
		"instant": func(e *trainingv1.Entry) { e.TrainedAt = timestamppb.New(testNow) },
	} {
		other := entry(func(x *trainingv1.Entry) { x.Key = e.GetKey() }, change)
		_, err := s.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: other})
		refuses(t, err, apperr.Conflict, "SESSION_KEY_USED", "says something else")
		require.NotContains(t, err.Error(), "ball", "%s: a note is in no error", name)
	}
	_, err := s.CorrectSession(t.Context(), &trainingv1.CorrectSessionRequest{SessionId: s.logs(t, entry()).GetId(), Entry: e})
	refuses(t, err, apperr.Conflict, "SESSION_KEY_USED", "says something else")
	require.Len(t, s.contents(t), 2)
}

func TestCorrectionsKeepHistory(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	first := s.logs(t, entry())
	fix := entry(func(e *trainingv1.Entry) { e.Successes = 9 })
	second := s.corrects(t, first.GetId(), fix)
	require.Equal(t, first.GetId(), second.GetReplacesId())
	same(t, second, s.corrects(t, first.GetId(), fix))

	_, err := s.CorrectSession(t.Context(), &trainingv1.CorrectSessionRequest{SessionId: first.GetId(), Entry: entry()})
	refuses(t, err, apperr.Conflict, "SESSION_CORRECTED", second.GetId()+" counts now")
	third := s.corrects(t, second.GetId(), entry(func(e *trainingv1.Entry) { e.DogCode, e.Trials, e.Successes = "DOT", 0, 0 }))
	_, err = s.CorrectSession(t.Context(), &trainingv1.CorrectSessionRequest{SessionId: first.GetId(), Entry: entry()})
	refuses(t, err, apperr.Conflict, "SESSION_CORRECTED", third.GetId()+" counts now")

	_, err = s.CorrectSession(t.Context(), &trainingv1.CorrectSessionRequest{SessionId: uuid.NewString(), Entry: entry()})
	refuses(t, err, apperr.NotFound, "SESSION_UNKNOWN", "send it first")
	own := entry()
	_, err = s.CorrectSession(t.Context(), &trainingv1.CorrectSessionRequest{SessionId: own.GetKey(), Entry: own})
	refuses(t, err, apperr.Invalid, "INVALID_FIELD", "is that of the session to correct")

	first.ReplacedById, second.ReplacedById = second.GetId(), third.GetId()
	for _, id := range []string{first.GetId(), second.GetId(), third.GetId()} {
		chain, err := s.ReadSession(t.Context(), &trainingv1.ReadSessionRequest{SessionId: id})
		require.NoError(t, err)
		same(t, &trainingv1.ReadSessionResponse{Sessions: []*trainingv1.Session{third, second, first}}, chain)
	}
	_, err = s.ReadSession(t.Context(), &trainingv1.ReadSessionRequest{SessionId: uuid.NewString()})
	refuses(t, err, apperr.NotFound, "SESSION_UNKNOWN", "there is no session")

	lengths := func(dog string) (counting, all int) {
		t.Helper()
		now, err := s.ListSessions(t.Context(), &trainingv1.ListSessionsRequest{DogCode: dog})
		require.NoError(t, err)
		ever, err := s.ListSessions(t.Context(), &trainingv1.ListSessionsRequest{DogCode: dog, WithHistory: true})
		require.NoError(t, err)
		return len(now.GetSessions()), len(ever.GetSessions())
	}
	counting, all := lengths("BO")
	require.Equal(t, []int{0, 2}, []int{counting, all}, "the session went over to another dog")
	counting, all = lengths("DOT")
	require.Equal(t, []int{1, 1}, []int{counting, all})
}

func TestListingByDays(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	day := func(at string, trainer string) string {
		instant, err := time.Parse(time.RFC3339, at)
		require.NoError(t, err)
		return s.logs(t, entry(func(e *trainingv1.Entry) { e.TrainerCode, e.TrainedAt = trainer, timestamppb.New(instant) })).GetDay()
	}
	// Denver is 7 hours behind UTC in March before the 14th; London keeps UTC then.
	require.Equal(t, "2027-03-06", day("2027-03-07T06:59:59Z", "ANA"))
	require.Equal(t, "2027-03-07", day("2027-03-07T07:00:00Z", "ANA"))
	require.Equal(t, "2027-03-07", day("2027-03-07T06:59:59Z", "BEN"))
	for want, days := range map[int][2]string{3: {"", ""}, 2: {"2027-03-07", ""}, 1: {"", "2027-03-06"}, 0: {"2027-03-08", "2027-03-09"}} {
		got, err := s.ListSessions(t.Context(), &trainingv1.ListSessionsRequest{DogCode: "BO", FirstDay: days[0], LastDay: days[1]})
		require.NoError(t, err)
		require.Len(t, got.GetSessions(), want, days)
	}
	for _, bad := range []*trainingv1.ListSessionsRequest{{DogCode: "BO", FirstDay: "2027-3-7"}, {DogCode: "BO", LastDay: "tomorrow"}, {DogCode: "BO", FirstDay: "2027-03-08", LastDay: "2027-03-07"}} {
		_, err := s.ListSessions(t.Context(), bad)
		require.ErrorIs(t, err, apperr.Invalid)
	}
	_, err := s.ListSessions(t.Context(), &trainingv1.ListSessionsRequest{DogCode: "REX"})
	refuses(t, err, apperr.NotFound, "DOG_UNKNOWN", `"REX"`)
}

// TestClocksOfDevices: a day ahead is the limit, and the past is the dog's life. What passes keeps both instants.
func TestClocksOfDevices(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for _, c := range []struct {
		at    time.Time
		words string
		ahead int64
	}{
		{testNow.Add(24 * time.Hour), "", 86400},
		{testNow.Add(24*time.Hour + time.Microsecond), "more than 24 hours ahead of the server's clock, which shows 2027-03-08T16:00:00Z", 0},
		{testNow.Add(-36 * time.Hour), "", -129600},
		{time.Date(2025, 6, 15, 6, 0, 0, 0, time.UTC), "", -(631*86400 + 36000)}, // 631 days and 10 hours: midnight of the day of birth in Denver, which keeps summer time then
		{time.Date(2025, 6, 15, 5, 59, 59, 0, time.UTC), "before the dog BO was born (2025-06-15)", 0},
		{time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC), "before the dog BO was born", 0},
	} {
		got, err := s.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: entry(func(e *trainingv1.Entry) { e.TrainedAt = timestamppb.New(c.at) })})
		if c.words != "" {
			refuses(t, err, apperr.Invalid, "INVALID_FIELD", c.words)
			continue
		}
		require.NoError(t, err)
		require.Equal(t, c.ahead, got.GetSession().GetAheadSeconds())
		require.True(t, c.at.Equal(got.GetSession().GetTrainedAt().AsTime()))
		require.True(t, testNow.Equal(got.GetSession().GetArrivedAt().AsTime()))
	}
	s.at(time.Date(2056, 1, 1, 0, 0, 0, 0, time.UTC))
	_, err := s.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: entry(func(e *trainingv1.Entry) { e.TrainedAt = timestamppb.New(s.clock()) })})
	refuses(t, err, apperr.Invalid, "INVALID_FIELD", "over 30 years old")
}

func TestSessionsThatCannotBe(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	four := int32(4)
	for _, c := range []struct {
		change func(*trainingv1.Entry)
		kind   apperr.Kind
		words  string
	}{
		{func(e *trainingv1.Entry) { e.Key = "" }, apperr.Invalid, "make a new UUID for each session"},
		{func(e *trainingv1.Entry) { e.Key = uuid.Nil.String() }, apperr.Invalid, "make a new UUID for each session"},
		{func(e *trainingv1.Entry) { e.DogCode = "" }, apperr.Invalid, "dog_code is empty"},
		{func(e *trainingv1.Entry) { e.DogCode = "B\x00" }, apperr.Invalid, "dog_code is empty or no code"},
		{func(e *trainingv1.Entry) { e.SkillCode = "" }, apperr.Invalid, "skill_code is empty"},
		{func(e *trainingv1.Entry) { e.TrainedAt = nil }, apperr.Invalid, "trained_at must say when"},
		{func(e *trainingv1.Entry) { e.TrainedAt = &timestamppb.Timestamp{Seconds: 1 << 60} }, apperr.Invalid, "trained_at is no instant"},
		{func(e *trainingv1.Entry) { e.Trials = -1 }, apperr.Invalid, "trials must be 0 to 1000"},
		{func(e *trainingv1.Entry) { e.Trials = 1001 }, apperr.Invalid, "trials must be 0 to 1000"},
		{func(e *trainingv1.Entry) { e.Successes = 11 }, apperr.Invalid, "8 of 10 is 10 trials and 8 successes"},
		{func(e *trainingv1.Entry) { e.Successes = -1 }, apperr.Invalid, "successes must be 0 to"},
		{func(e *trainingv1.Entry) { e.HoldSeconds = 3601 }, apperr.Invalid, "hold_seconds must be 0 to 3600"},
		{func(e *trainingv1.Entry) { e.DistanceCm = -1 }, apperr.Invalid, "distance_cm must be 0 to 50000"},
		{func(e *trainingv1.Entry) { e.Distraction = 4 }, apperr.Invalid, "0 is quiet, 1 mild, 2 lively, 3 busy"},
		{func(e *trainingv1.Entry) { e.Settled = &four }, apperr.Invalid, "settled must be 0 to 3"},
		{func(e *trainingv1.Entry) { e.Note = strings.Repeat("é", 501) }, apperr.Invalid, "note must have at most 500 characters"},
		{func(e *trainingv1.Entry) { e.Note = "a\x00b" }, apperr.Invalid, "note is not text"},
		{func(e *trainingv1.Entry) { e.DogCode = "REX" }, apperr.NotFound, "`longlead export dogs`"},
		{func(e *trainingv1.Entry) { e.TrainerCode = "EVA" }, apperr.NotFound, "`longlead export trainers`"},
		{func(e *trainingv1.Entry) { e.SkillCode = "sit" }, apperr.NotFound, "the skills are HEEL, COME, SIT-STAY"},
	} {
		_, err := s.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: entry(c.change)})
		require.ErrorIs(t, err, c.kind, c.words)
		require.ErrorContains(t, err, c.words)
	}
	require.Empty(t, s.contents(t))
	s.logs(t, entry(func(e *trainingv1.Entry) { e.Note = strings.Repeat("é", 500) }))

	several, err := s.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: entry(func(e *trainingv1.Entry) { e.Trials, e.HoldSeconds = 2000, -1 })})
	require.Nil(t, several)
	known, _ := apperr.From(err)
	require.Len(t, known.Fields, 2, "all that is wrong is said at once")
}

// TestWithoutATrainerTheCallerMustBeOne: the office logs for nobody in particular.
func TestWithoutATrainerTheCallerMustBeOne(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.trainers = s.trainers[1:]
	s.Server = NewServer(Deps{Pool: s.pool, Now: s.clock, Caller: s.deps.Caller, Known: s.known()})
	_, err := s.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: entry(func(e *trainingv1.Entry) { e.TrainerCode = "" })})
	refuses(t, err, apperr.Invalid, "INVALID_FIELD", "no trainer has the code ANA")
	s.trainers[0].Zone = "Nowhere/Here"
	_, err = s.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: entry(func(e *trainingv1.Entry) { e.TrainerCode = "BEN" })})
	refuses(t, err, apperr.Precondition, "ZONE_UNKNOWN", "home site of trainer BEN")
}

func TestTheLadder(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	heel, come, sit := &trainingv1.Skill{Code: "HEEL", Name: "Heel", About: "on the left", WithName: true},
		&trainingv1.Skill{Code: "COME", Name: "Come", WithName: true}, &trainingv1.Skill{Code: "SIT-STAY", Name: "Sit and stay"}
	got, err := s.ListSkills(t.Context(), &trainingv1.ListSkillsRequest{})
	require.NoError(t, err)
	same(t, &trainingv1.ListSkillsResponse{Skills: []*trainingv1.Skill{heel, come, sit}}, got)
	come.Target = &trainingv1.Target{TrialsPercent: 75, DistanceCm: 610}
	sit.Target = &trainingv1.Target{TrialsPercent: 80, HoldSeconds: 120, DistanceCm: 183, Distraction: 1}
	got, err = s.ListSkills(t.Context(), &trainingv1.ListSkillsRequest{ProgramCode: "MANNERS"})
	require.NoError(t, err)
	same(t, &trainingv1.ListSkillsResponse{Skills: []*trainingv1.Skill{heel, come, sit}}, got)
	_, err = s.ListSkills(t.Context(), &trainingv1.ListSkillsRequest{ProgramCode: "UNICORNS"})
	refuses(t, err, apperr.NotFound, "PROGRAM_UNKNOWN", "`longlead export programs`")
}

// TestWhatATrainerHeld lists one trainer's sessions of one day: those that count.
func TestWhatATrainerHeld(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	first := s.logs(t, entry())
	mended := entry()
	mended.Key, mended.Successes = uuid.NewString(), 9
	got, err := s.CorrectSession(t.Context(), &trainingv1.CorrectSessionRequest{SessionId: first.GetId(), Entry: mended})
	require.NoError(t, err)
	earlier := entry()
	earlier.Key, earlier.TrainedAt = uuid.NewString(), timestamppb.New(entry().GetTrainedAt().AsTime().Add(-48*time.Hour))
	s.logs(t, earlier)
	list, err := s.ListTrainerSessions(t.Context(), &trainingv1.ListTrainerSessionsRequest{TrainerCode: "ANA", Day: "2027-03-08"})
	require.NoError(t, err)
	same(t, &trainingv1.ListTrainerSessionsResponse{Sessions: []*trainingv1.Session{got.GetSession()}}, list)
	none, err := s.ListTrainerSessions(t.Context(), &trainingv1.ListTrainerSessionsRequest{TrainerCode: "ANA", Day: "2027-03-09"})
	require.NoError(t, err)
	require.Empty(t, none.GetSessions())
	_, err = s.ListTrainerSessions(t.Context(), &trainingv1.ListTrainerSessionsRequest{TrainerCode: "NOBODY", Day: "2027-03-08"})
	require.ErrorIs(t, err, apperr.NotFound)
	_, err = s.ListTrainerSessions(t.Context(), &trainingv1.ListTrainerSessionsRequest{TrainerCode: "ANA", Day: "soon"})
	require.ErrorIs(t, err, apperr.Invalid)
}
