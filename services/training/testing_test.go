package training

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// testNow is the instant at which the server of these tests stands until a test moves it.
var testNow = time.Date(2027, 3, 8, 16, 0, 0, 0, time.UTC)

// school is a database of its own with dogs, trainers and programs, which stand in for those of other packages: BO and DOT;
// ANA at home in Denver and BEN in London; MANNERS and LONG. Its ladder is HEEL, SIT-STAY and COME.
type school struct {
	*Server
	pool     *postgres.Pool
	dogs     []DogRef
	trainers []TrainerRef
	programs []ProgramRef

	mu  sync.Mutex
	now time.Time
}

const skillsCSV, targetsCSV = "code,name,about,with_name,sort_order", "program,skill,trials_percent,hold_seconds,distance_cm,distraction"

const sessionsCSV = "key,dog,trainer,skill,trained_at,trials,successes,hold_seconds,distance_cm,distraction,settled,note,replaces,arrived_at,logged_by"

func newSchool(t testing.TB) *school {
	t.Helper()
	id := func(n int) uuid.UUID { return uuid.UUID{6: 0x70, 8: 0x80, 15: byte(n)} }
	s := &school{pool: postgrestest.Database(t), now: testNow,
		dogs:     []DogRef{{ids.DogID(id(1)), "BO", calendar.MustDate("2025-06-15")}, {ids.DogID(id(2)), "DOT", calendar.MustDate("2026-10-01")}},
		trainers: []TrainerRef{{ids.TrainerID(id(3)), "ANA", "America/Denver"}, {ids.TrainerID(id(4)), "BEN", "Europe/London"}},
		programs: []ProgramRef{{ids.ProgramID(id(5)), "MANNERS"}, {ids.ProgramID(id(6)), "LONG"}}}
	run := func(sql string, args ...any) {
		_, err := s.pool.Exec(t.Context(), sql, args...)
		require.NoError(t, err)
	}
	run(`insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days)
		values ($1, 'HILL', 'Hill', 'America/Denver', 28, '{}', 100, 0)`, id(9))
	run(`insert into enrollment.owner (id, code, name, email, phone, zone) values ($1, 'LOWE', 'Sam Lowe', '', '', '')`, id(8))
	for _, d := range s.dogs {
		run(`insert into enrollment.dog (id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level, note)
			values ($1, $2, $3, $2, '', 0, false, 'male', $4, 20000, 700, 600, '', '')`, d.ID, d.Code, id(8), d.Born)
	}
	for _, tr := range s.trainers {
		run(`insert into roster.trainer (id, code, name, email, home_site_id, minutes_a_day, most_dogs, care_classes)
			values ($1, $2, $2, '', $3, 360, 6, '{}')`, tr.ID, tr.Code, id(9))
	}
	for _, p := range s.programs {
		run(`insert into enrollment.program (id, code, name, nights, sessions_a_day, session_minutes, least_age_months) values ($1, $2, $2, 14, 3, 15, 0)`, p.ID, p.Code)
	}
	s.Server = NewServer(Deps{Pool: s.pool, Now: s.clock, Caller: func(context.Context) string { return "ANA" }, Known: s.known()})
	require.Empty(t, s.put(t, KindSkills, skillsCSV, "HEEL,Heel,on the left,yes,10", "SIT-STAY,Sit and stay,,no,30", "COME,Come,,yes,20"))
	require.Empty(t, s.put(t, KindTargets, targetsCSV, "LONG,HEEL,85,0,0,busy", "MANNERS,COME,75,0,610,quiet", "MANNERS,SIT-STAY,80,120,183,mild"))
	return s
}

func (s *school) clock() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

// at moves the clock of the server.
func (s *school) at(now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = now
}

func (s *school) known() Known {
	pick := func(keep func(DogRef) bool) []DogRef {
		return slices.DeleteFunc(slices.Clone(s.dogs), func(d DogRef) bool { return !keep(d) })
	}
	return Known{
		DogsByCode: func(_ context.Context, _ postgres.DB, codes []string) ([]DogRef, error) {
			return pick(func(d DogRef) bool { return slices.Contains(codes, d.Code) }), nil
		},
		DogsByID: func(_ context.Context, _ postgres.DB, wanted []ids.DogID) ([]DogRef, error) {
			return pick(func(d DogRef) bool { return slices.Contains(wanted, d.ID) }), nil
		},
		Trainers: func(context.Context, postgres.DB) ([]TrainerRef, error) { return s.trainers, nil },
		Programs: func(context.Context, postgres.DB) ([]ProgramRef, error) { return s.programs, nil },
	}
}

// entry is a session under a new key: BO sat and stayed with ANA, 8 of 10, four minutes before testNow.
func entry(changes ...func(*trainingv1.Entry)) *trainingv1.Entry {
	e := &trainingv1.Entry{Key: uuid.NewString(), DogCode: "BO", TrainerCode: "ANA", SkillCode: "SIT-STAY", TrainedAt: timestamppb.New(testNow.Add(-4 * time.Minute)),
		Trials: 10, Successes: 8, HoldSeconds: 60, DistanceCm: 183, Distraction: 1, Settled: new(int32), Note: "looked for the ball"}
	*e.Settled = 2
	for _, change := range changes {
		change(e)
	}
	return e
}

// logs keeps a session that must be accepted.
func (s *school) logs(t testing.TB, e *trainingv1.Entry) *trainingv1.Session {
	t.Helper()
	got, err := s.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: e})
	require.NoError(t, err)
	return got.GetSession()
}

// corrects keeps a correction that must be accepted.
func (s *school) corrects(t testing.TB, id string, e *trainingv1.Entry) *trainingv1.Session {
	t.Helper()
	got, err := s.CorrectSession(t.Context(), &trainingv1.CorrectSessionRequest{SessionId: id, Entry: e})
	require.NoError(t, err)
	return got.GetSession()
}

// refuses asks for an error of a kind with a reason, and for words in it.
func refuses(t testing.TB, err error, kind apperr.Kind, reason, words string) {
	t.Helper()
	require.ErrorIs(t, err, kind)
	require.Equal(t, reason, apperr.ReasonOf(err))
	require.ErrorContains(t, err, words)
}

// contents is every row of the sessions, as text.
func (s *school) contents(t require.TestingT) []string {
	rows, err := postgres.List[struct{ Text string }](context.Background(), s.pool, "read sessions", `select r::text as text from training.session r order by id`)
	require.NoError(t, err)
	out := make([]string, len(rows))
	for i, r := range rows {
		out[i] = r.Text
	}
	return out
}

func (s *school) port(t testing.TB, kind string) records.Port {
	t.Helper()
	ports := Ports(s.known())
	i := slices.IndexFunc(ports, func(p records.Port) bool { return p.Kind.Name == kind })
	require.GreaterOrEqual(t, i, 0, kind)
	return ports[i]
}

// codes are those of a kind that columns refer to.
func (s *school) codes(t testing.TB, kind string) map[string]uuid.UUID {
	t.Helper()
	known := map[string]uuid.UUID{}
	switch kind {
	case kindDogs:
		for _, d := range s.dogs {
			known[d.Code] = d.ID.UUID()
		}
	case kindTrainers:
		for _, tr := range s.trainers {
			known[tr.Code] = tr.ID.UUID()
		}
	case kindPrograms:
		for _, p := range s.programs {
			known[p.Code] = p.ID.UUID()
		}
	default:
		var err error
		known, err = s.port(t, kind).Codes(t.Context(), s.pool)
		require.NoError(t, err)
	}
	return known
}

// rowsOf reads lines of a CSV file and looks its references up, as an import does.
func (s *school) rowsOf(t testing.TB, port records.Port, lines ...string) []records.Row {
	t.Helper()
	table, err := sheet.Read(port.Kind.Name+".csv", []byte(strings.Join(lines, "\n")+"\n"), port.Kind, sheet.Options{})
	require.NoError(t, err)
	require.Empty(t, table.Faults)
	rows := make([]records.Row, len(table.Rows))
	for i, row := range table.Rows {
		refs := map[string]uuid.UUID{}
		for _, c := range port.Kind.Columns {
			if c.Refers != "" && row.Has(c.Name) {
				id, ok := s.codes(t, c.Refers)[row.Text(c.Name)]
				require.True(t, ok, "line %d, %s", row.Line, c.Name)
				refs[c.Name] = id
			}
		}
		rows[i] = records.NewRow(row, refs)
	}
	return rows
}

// take checks and puts the rows of a file that pass, as an import does, and returns what was wrong.
func (s *school) take(t testing.TB, tx postgres.Tx, kind string, lines ...string) []records.Wrong {
	t.Helper()
	port := s.port(t, kind)
	var wrong []records.Wrong
	good := slices.DeleteFunc(s.rowsOf(t, port, lines...), func(row records.Row) bool {
		if port.Check == nil {
			return false
		}
		found := port.Check(row)
		wrong = append(wrong, found...)
		return len(found) > 0
	})
	more, err := port.Put(t.Context(), tx, records.Intake{Mint: uuid.New, Now: s.clock(), By: "office"}, good)
	require.NoError(t, err)
	return append(wrong, more...)
}

// put is take in a transaction of its own.
func (s *school) put(t testing.TB, kind string, lines ...string) (wrong []records.Wrong) {
	t.Helper()
	require.NoError(t, postgres.InTx(t.Context(), s.pool, func(tx postgres.Tx) error {
		wrong = s.take(t, tx, kind, lines...)
		return nil
	}))
	return wrong
}

// list returns a kind as lines, its header first, with cells joined by commas; no cell of these tests holds a comma.
func (s *school) list(t testing.TB, kind string) []string {
	t.Helper()
	port := s.port(t, kind)
	rows, err := port.List(t.Context(), s.pool)
	require.NoError(t, err)
	header := make([]string, len(port.Kind.Columns))
	for i, c := range port.Kind.Columns {
		header[i] = c.Name
	}
	lines := []string{strings.Join(header, ",")}
	for _, row := range rows {
		require.Len(t, row, len(header))
		lines = append(lines, strings.Join(row, ","))
	}
	return lines
}

// told writes findings as "line column rule".
func told(t testing.TB, wrong []records.Wrong) []string {
	t.Helper()
	var out []string
	for _, w := range wrong {
		require.NotEmpty(t, w.Remedy)
		out = append(out, fmt.Sprintf("%d %s %s", w.Line, w.Column, w.Rule))
	}
	return out
}
