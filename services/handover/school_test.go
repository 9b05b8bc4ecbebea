package handover

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/rpc"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
)

// testNow is the instant at which the server of these tests stands until a test moves it: a Monday, 10:00 in Denver.
var testNow = time.Date(2027, 3, 8, 17, 0, 0, 0, time.UTC)

// school is a database of its own with a site in Denver, where ANA and BEN train, an area QUIET for one dog and a YARD for two, and the dogs
// BO, DOT and EMU, who go home on 20 March. Other packages keep these; rows stand in for them.
type school struct {
	*Server
	pool  *postgres.Pool
	book  *Book
	log   *bytes.Buffer
	web   http.Handler
	stays map[string]StayRef

	mu      sync.Mutex
	now     time.Time
	changes []Change
	// fits and changed are what hooks answer; nil for nothing against it.
	fits, changed error
}

func testID(n int) uuid.UUID { return uuid.UUID{6: 0x70, 8: 0x80, 15: byte(n)} }

var (
	siteRef  = SiteRef{ID: ids.SiteID(testID(1)), Code: "HILL", Name: "Hillside Yard", Zone: "America/Denver"}
	ana, ben = TrainerRef{ids.TrainerID(testID(2)), "ANA", "Ana Reyes"}, TrainerRef{ids.TrainerID(testID(3)), "BEN", "Ben Ito"}
	quiet    = AreaRef{ID: ids.AreaID(testID(4)), SiteID: siteRef.ID, Code: "QUIET", Kind: "quiet room", DogsAtOnce: 1}
	yard     = AreaRef{ID: ids.AreaID(testID(5)), SiteID: siteRef.ID, Code: "YARD", Kind: "yard", DogsAtOnce: 2}
)

func newSchool(t testing.TB) *school {
	t.Helper()
	s := &school{pool: postgrestest.Database(t), now: testNow, log: &bytes.Buffer{}, stays: map[string]StayRef{}}
	s.rows(t)
	s.book = NewBook(BookDeps{Mint: ids.NewMint(), Now: s.clock, Known: s.known(), Changed: s.record, Fits: func(context.Context, postgres.Tx, Appointment) error { return s.fits }})
	log := slog.New(slog.NewTextHandler(s.log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	s.Server = NewServer(Deps{Pool: s.pool, Book: s.book, Caller: func(context.Context) string { return "office" }, PublicURL: "https://dogs.example.com/", Log: log})
	edge, err := rpc.NewServer(log, &rpc.Tokens{}, rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { handoverv1.RegisterHandoverServiceServer(r, s.Server) },
		HTTP: handoverv1.RegisterHandoverServiceHandler, Pages: s.Server.Pages})
	require.NoError(t, err)
	t.Cleanup(func() { edge.Stop(time.Second) })
	s.web = edge.Handler()
	return s
}

// rows makes what appointments point to.
func (s *school) rows(t testing.TB) {
	t.Helper()
	run := func(sql string, args ...any) {
		_, err := s.pool.Exec(t.Context(), sql, args...)
		require.NoError(t, err)
	}
	run(`insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days)
		values ($1, $2, $3, $4, 28, '{}', 100, 0)`, siteRef.ID, siteRef.Code, siteRef.Name, siteRef.Zone)
	for _, a := range []AreaRef{quiet, yard} {
		run(`insert into facility.area (id, site_id, code, kind, dogs_at_once, outdoors) values ($1, $2, $3, $4, $5, false)`, a.ID, a.SiteID, a.Code, a.Kind, a.DogsAtOnce)
	}
	for _, tr := range []TrainerRef{ana, ben} {
		run(`insert into roster.trainer (id, code, name, email, home_site_id, minutes_a_day, most_dogs, care_classes) values ($1, $2, $3, '', $4, 360, 6, '{}')`, tr.ID, tr.Code, tr.Name, siteRef.ID)
	}
	run(`insert into enrollment.owner (id, code, name, email, phone, zone) values ($1, 'LOWE', 'Sam Lowe', '', '', '')`, testID(8))
	run(`insert into enrollment.program (id, code, name, nights, sessions_a_day, session_minutes, least_age_months) values ($1, 'MANNERS', 'Good manners', 14, 3, 15, 0)`, testID(9))
	for i, code := range []string{"BO", "DOT", "EMU"} {
		n := 20 + 10*i
		stay := StayRef{ID: ids.StayID(testID(n)), RequestID: ids.RequestID(testID(n + 1)), RequestCode: "R-" + code, DogID: ids.DogID(testID(n + 2)), DogCode: code, DogName: strings.ToLower(code),
			OwnerID: ids.OwnerID(testID(8)), SiteID: siteRef.ID, TrainerID: ana.ID, ProgramID: ids.ProgramID(testID(9)), ProgramName: "Good manners", Graduation: calendar.MustDate("2027-03-20")}
		run(`insert into enrollment.dog (id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level, note)
			values ($1, $2, $3, $4, '', 0, false, 'male', '2025-06-15', 20000, 700, 600, '', '')`, stay.DogID, code, stay.OwnerID, stay.DogName)
		run(`insert into enrollment.request (id, code, dog_id, program_id, window_days, priority, deposit, asked_on, household, state, note)
			values ($1, $2, $3, $4, '[2027-03-01,2027-03-10)', 3, false, '2027-01-05', '', 'open', '')`, stay.RequestID, stay.RequestCode, stay.DogID, stay.ProgramID)
		run(`insert into facility.run (id, site_id, code, row_name, length_mm, width_mm, height_mm, isolation) values ($1, $2, $3, 'A', 2000, 1500, 1800, false)`, testID(n+3), siteRef.ID, "A"+code)
		s.stays[code] = stay
		s.newStay(t, stay, testID(n+3))
	}
}

func (s *school) newStay(t testing.TB, stay StayRef, run uuid.UUID) {
	t.Helper()
	_, err := s.pool.Exec(t.Context(), `insert into planner.stay (id, request_id, site_id, run_id, trainer_id, nights, state, made_at)
		values ($1, $2, $3, $4, $5, daterange('2027-03-06', $6), 'in residence', now())`, stay.ID, stay.RequestID, stay.SiteID, run, stay.TrainerID, stay.Graduation)
	require.NoError(t, err)
}

func (s *school) clock() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

// at moves the clock.
func (s *school) at(now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = now
}

// record notes what it is told.
func (s *school) record(_ context.Context, _ postgres.Tx, c Change) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.changes = append(s.changes, c)
	return s.changed
}

// told takes the changes that were told since it was called last.
func (s *school) told() []Change {
	s.mu.Lock()
	defer s.mu.Unlock()
	defer func() { s.changes = nil }()
	return s.changes
}

func (s *school) known() Known {
	return Known{
		StayOf: func(_ context.Context, _ postgres.DB, code string) (StayRef, error) {
			if stay, ok := s.stays[strings.TrimPrefix(code, "R-")]; ok {
				return stay, nil
			}
			return StayRef{}, apperr.NotFoundf("STAY_UNKNOWN", "no dog or request %q has a promised stay", code)
		},
		StaysOf: func(_ context.Context, _ postgres.DB, requests []ids.RequestID) (map[ids.RequestID]StayRef, error) {
			out := map[ids.RequestID]StayRef{}
			for _, stay := range s.stays {
				if slices.Contains(requests, stay.RequestID) {
					out[stay.RequestID] = stay
				}
			}
			return out, nil
		},
		Sites:    func(context.Context, postgres.DB) ([]SiteRef, error) { return []SiteRef{siteRef}, nil },
		Trainers: func(context.Context, postgres.DB) ([]TrainerRef, error) { return []TrainerRef{ana, ben}, nil },
		Areas:    func(context.Context, postgres.DB) ([]AreaRef, error) { return []AreaRef{quiet, yard}, nil },
		Skills: func(context.Context, postgres.DB, ids.ProgramID) ([]SkillRef, error) {
			return []SkillRef{{"HEEL", "Heel", "on the left, on a loose lead"}, {"COME", "Come when called", ""}}, nil
		},
	}
}

// slotAt is 90 minutes with ANA in QUIET at the main gate, from hour:minute in Denver on a day of March 2027.
func slotAt(t testing.TB, day, clock string) Slot {
	t.Helper()
	zone, err := calendar.LoadZone(siteRef.Zone)
	require.NoError(t, err)
	begins, err := calendar.At(calendar.MustDate(day), calendar.MustClock(clock), zone)
	require.NoError(t, err)
	return Slot{TrainerID: ana.ID, AreaID: quiet.ID, Gate: "main gate", Begins: begins, Ends: begins.Add(90 * time.Minute)}
}

func (s *school) placing(dog string, slot Slot, others ...Slot) Placing {
	stay := s.stays[dog]
	return Placing{StayID: stay.ID, RequestID: stay.RequestID, DogID: stay.DogID, OwnerID: stay.OwnerID, SiteID: stay.SiteID, Slot: slot, Others: others, By: "planner", Why: "month published"}
}

// in runs something in a transaction that is kept.
func in[T any](t testing.TB, s *school, do func(tx postgres.Tx) (T, error)) (T, error) {
	t.Helper()
	var out T
	err := postgres.InTx(t.Context(), s.pool, func(tx postgres.Tx) (err error) {
		out, err = do(tx)
		return err
	})
	return out, err
}

// place places a handover that must be accepted, and returns it with the token of its link.
func (s *school) place(t testing.TB, dog string, slot Slot, others ...Slot) (Appointment, string) {
	t.Helper()
	s.told()
	a, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Place(t.Context(), tx, s.placing(dog, slot, others...))
	})
	require.NoError(t, err)
	told := s.told()
	if len(told) == 0 {
		return a, ""
	}
	return a, told[0].LinkToken
}

// contents is every row of the service's tables, as text.
func (s *school) contents(t require.TestingT) []string {
	var out []string
	for _, table := range []string{"appointment", "offer", "change", "link", "setting"} {
		rows, err := postgres.List[struct{ Text string }](context.Background(), s.pool, "read "+table, `select r::text as text from handover.`+table+` r order by 1`)
		require.NoError(t, err)
		for _, r := range rows {
			out = append(out, table+" "+r.Text)
		}
	}
	return out
}

// refuses asks for an error of a kind with a reason, and for words in it.
func refuses(t testing.TB, err error, kind apperr.Kind, reason, words string) {
	t.Helper()
	require.ErrorIs(t, err, kind)
	require.Equal(t, reason, apperr.ReasonOf(err))
	require.ErrorContains(t, err, words)
}

// send sends a request over HTTP.
func (s *school) send(t testing.TB, method, path string, form url.Values, header map[string]string) *httptest.ResponseRecorder {
	t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r := httptest.NewRequestWithContext(t.Context(), method, path, body)
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for k, v := range header {
		r.Header.Set(k, v)
	}
	w := httptest.NewRecorder()
	s.web.ServeHTTP(w, r)
	return w
}

var errUndo = errors.New("undo")
