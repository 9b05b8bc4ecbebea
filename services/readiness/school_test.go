package readiness_test

import (
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/readiness"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"
	"github.com/longlead/longlead/services/training"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// school is a database of its own with the services that the way from logs to readiness leads through.
type school struct {
	pool   *postgres.Pool
	now    time.Time
	files  *exchange.Server
	ready  readinessv1.ReadinessServiceClient
	logs   trainingv1.TrainingServiceClient
	nobody readinessv1.ReadinessServiceClient
	boss   readinessv1.ReadinessServiceClient
	runs   int
}

func newSchool(t testing.TB, now time.Time) *school {
	t.Helper()
	s := &school{pool: postgrestest.Database(t), now: now}
	clock := func() time.Time { return s.now }
	ports := append(facility.Ports(), roster.Ports(scenariotest.RosterSites)...)
	ports = append(ports, enrollment.Ports(scenariotest.EnrollmentSites)...)
	ports = append(ports, planner.Ports()...)
	ports = append(ports, training.Ports(planner.TrainingKnown())...)
	s.files = exchange.NewServer(exchange.Deps{Pool: s.pool, Mint: ids.NewMint(), Now: clock, Caller: rpc.CallerName, Ports: ports})
	server := readiness.NewServer(readiness.Deps{Pool: s.pool, Now: clock, Caller: rpc.CallerName})
	logs := training.NewServer(training.Deps{Pool: s.pool, Now: clock, Caller: rpc.CallerName, Known: planner.TrainingKnown()})
	tokens := &rpc.Tokens{}
	require.NoError(t, tokens.Add("ANA", "trainer", "secret of ANA"))
	require.NoError(t, tokens.Add("MIA", "manager", "secret of MIA"))
	edge, err := rpc.NewServer(slog.New(slog.DiscardHandler), tokens,
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { readinessv1.RegisterReadinessServiceServer(r, server) }, HTTP: readinessv1.RegisterReadinessServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { trainingv1.RegisterTrainingServiceServer(r, logs) }, HTTP: trainingv1.RegisterTrainingServiceHandler})
	require.NoError(t, err)
	t.Cleanup(func() { edge.Stop(time.Second) })
	dial := func(options ...grpc.DialOption) *grpc.ClientConn {
		conn, err := edge.Dial(options...)
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		return conn
	}
	conn := dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials("secret of ANA")), grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(rpc.MaxMessage)))
	s.ready, s.logs = readinessv1.NewReadinessServiceClient(conn), trainingv1.NewTrainingServiceClient(conn)
	s.boss = readinessv1.NewReadinessServiceClient(dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials("secret of MIA"))))
	s.nobody = readinessv1.NewReadinessServiceClient(dial())
	return s
}

func (s *school) take(t testing.TB, files ...exchange.File) {
	t.Helper()
	report, err := s.files.Take(t.Context(), files, exchange.Settings{}, func(exchange.Progress) {})
	require.NoError(t, err)
	require.Empty(t, report.Faults)
}

// newScenario is the invented school on its 22 February 2027.
func newScenario(t testing.TB) *school {
	t.Helper()
	s := newSchool(t, time.Date(2027, 2, 22, 15, 0, 0, 0, time.UTC))
	s.take(t, scenariotest.Files(t)...)
	return s
}

// newHill is a site with the trainer ANA, who works on the weekdays given, and three programs: MANNERS asks for HEEL (8 of 10, quiet) and
// SIT-STAY (8 of 10, 60 s, 183 cm, mild), TRIAL for HEEL with a hold of 60 s, PLAY for nothing. Each has 2 sessions a day.
func newHill(t testing.TB, now time.Time, weekdays string) *school {
	t.Helper()
	s := newSchool(t, now)
	s.sql(t, `insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days)
		values (gen_random_uuid(), 'HILL', 'Hill', 'America/Denver', 28, '{}', 100, 0), (gen_random_uuid(), 'VALE', 'Vale', 'America/Denver', 28, '{}', 100, 0)`)
	s.sql(t, `insert into roster.trainer (id, code, name, email, home_site_id, minutes_a_day, most_dogs, care_classes)
		select gen_random_uuid(), 'ANA', 'Ana', '', id, 420, 6, '{open}' from facility.site where code = 'HILL'`)
	s.sql(t, `insert into roster.shift (trainer_id, weekday, site_id, starts, ends, meal_minutes)
		select id, weekday::int, home_site_id, '08:00', '16:30', 30 from roster.trainer, unnest(string_to_array($1, ',')) as weekday`, weekdays)
	s.sql(t, `insert into enrollment.owner (id, code, name, email, phone, zone) values (gen_random_uuid(), 'LOWE', 'Sam Lowe', '', '', '')`)
	s.sql(t, `insert into enrollment.program (id, code, name, nights, sessions_a_day, session_minutes, least_age_months)
		select gen_random_uuid(), code, code, 14, 2, 15, 0 from unnest(array['MANNERS', 'TRIAL', 'PLAY']) as code`)
	s.take(t, csv("skills", "code,name,about,with_name,sort_order", "HEEL,Heel,,yes,10", "SIT-STAY,Sit and stay,,no,20", "COME,Come,,yes,30"),
		csv("targets", "program,skill,trials_percent,hold_seconds,distance_cm,distraction", "MANNERS,HEEL,80,0,0,quiet", "MANNERS,SIT-STAY,80,60,183,mild", "TRIAL,HEEL,80,60,0,quiet"))
	return s
}

func csv(kind string, lines ...string) exchange.File {
	return exchange.File{Name: kind + ".csv", Content: []byte(strings.Join(lines, "\n") + "\n")}
}

func (s *school) sql(t testing.TB, sql string, args ...any) {
	t.Helper()
	_, err := s.pool.Exec(t.Context(), sql, args...)
	require.NoError(t, err)
}

// stay promises a dog, which is made unless it is known, a stay at HILL with ANA. Each stay has a run of its own.
func (s *school) stay(t testing.TB, dog, program, arrival, graduation string) {
	t.Helper()
	s.runs++
	s.sql(t, `insert into enrollment.dog (id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level, note)
		select gen_random_uuid(), $1, id, $1, '', 0, false, 'male', '2025-01-01', 20000, 700, 600, '', '' from enrollment.owner on conflict do nothing`, dog)
	s.sql(t, `with site as (select id from facility.site where code = 'HILL'),
		run as (insert into facility.run (id, site_id, code, row_name, length_mm, width_mm, height_mm, isolation)
		  select gen_random_uuid(), id, $5, 'A', 2000, 2000, 2000, false from site returning id, site_id),
		request as (insert into enrollment.request (id, code, dog_id, program_id, window_days, priority, deposit, asked_on, household, state, note)
		  select gen_random_uuid(), $5, d.id, p.id, daterange($3::date, $3::date + 1), 3, false, '2026-01-01', '', 'open', ''
		  from enrollment.dog d, enrollment.program p where d.code = $1 and p.code = $2 returning id)
		insert into planner.stay (id, request_id, site_id, run_id, trainer_id, nights, state, made_at)
		select gen_random_uuid(), request.id, run.site_id, run.id, t.id, daterange($3::date, $4::date), 'in residence', now()
		from request, run, roster.trainer t`, dog, program, arrival, graduation, fmt.Sprintf("S-%d", s.runs))
}

// entry is a session of a dog at nine in the morning of a day.
func entry(dog, skill, day string, successes, trials int32) *trainingv1.Entry {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	return &trainingv1.Entry{Key: ids.NewMint()().String(), DogCode: dog, TrainerCode: "ANA", SkillCode: skill, TrainedAt: timestamppb.New(at.Add(16 * time.Hour)),
		Trials: trials, Successes: successes}
}

// log keeps a session and returns its ID.
func (s *school) log(t testing.TB, e *trainingv1.Entry) string {
	t.Helper()
	got, err := s.logs.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: e})
	require.NoError(t, err)
	return got.GetSession().GetId()
}

func (s *school) get(t testing.TB, dog, day string) *readinessv1.Readiness {
	t.Helper()
	got, err := s.ready.GetReadiness(t.Context(), &readinessv1.GetReadinessRequest{DogCode: dog, Day: day})
	require.NoError(t, err)
	require.Contains(t, got.GetCaution(), "the trainer and the manager decide")
	require.Contains(t, got.GetAssumes(), "independent")
	return got.GetReadiness()
}

func (s *school) list(t testing.TB, site, day string) *readinessv1.ListReadinessResponse {
	t.Helper()
	got, err := s.ready.ListReadiness(t.Context(), &readinessv1.ListReadinessRequest{SiteCode: site, Day: day})
	require.NoError(t, err)
	return got
}

func skill(t testing.TB, r *readinessv1.Readiness, code string) *readinessv1.Skill {
	t.Helper()
	for _, s := range r.GetSkills() {
		if s.GetCode() == code {
			return s
		}
	}
	require.Fail(t, "no such skill", code)
	return nil
}
