package rpc_test

import (
	"bytes"
	"context"
	"log/slog"
	"sync"
	"testing"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/rpc"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// planner answers a few methods with what a test says; the others are Unimplemented.
type planner struct {
	plannerv1.UnimplementedPlannerServiceServer
	list  func(context.Context, *plannerv1.ListPlansRequest) error
	watch func(grpc.ServerStreamingServer[plannerv1.WatchDraftResponse]) error
}

func (p *planner) ListPlans(ctx context.Context, req *plannerv1.ListPlansRequest) (*plannerv1.ListPlansResponse, error) {
	if p.list != nil {
		if err := p.list(ctx, req); err != nil {
			return nil, err
		}
	}
	return &plannerv1.ListPlansResponse{Plans: []*plannerv1.Plan{{Month: req.GetMonth(), MadeBy: rpc.CallerName(ctx), Id: rpc.RequestID(ctx)}}}, nil
}

func (p *planner) WatchDraft(_ *plannerv1.WatchDraftRequest, stream grpc.ServerStreamingServer[plannerv1.WatchDraftResponse]) error {
	return p.watch(stream)
}

// edge is a server with all services, of which only the planner does anything, and its log.
type edge struct {
	*rpc.Server
	log *logBuffer
}

// roleNames are the roles, in no order that matters; each has a token of its own name.
var roleNames = []string{"manager", "site-lead", "office", "trainer", "viewer"}

func token(role string) string { return "token-of-" + role }

func newEdge(t *testing.T, p *planner) edge {
	t.Helper()
	tokens := &rpc.Tokens{}
	for _, role := range roleNames {
		require.NoError(t, tokens.Add(role, role, token(role)))
	}
	log := &logBuffer{}
	server, err := rpc.NewServer(slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug})), tokens,
		register(facilityv1.RegisterFacilityServiceServer, facilityv1.FacilityServiceServer(facilityv1.UnimplementedFacilityServiceServer{}), facilityv1.RegisterFacilityServiceHandler),
		register(rosterv1.RegisterRosterServiceServer, rosterv1.RosterServiceServer(rosterv1.UnimplementedRosterServiceServer{}), rosterv1.RegisterRosterServiceHandler),
		register(enrollmentv1.RegisterEnrollmentServiceServer, enrollmentv1.EnrollmentServiceServer(enrollmentv1.UnimplementedEnrollmentServiceServer{}), enrollmentv1.RegisterEnrollmentServiceHandler),
		register(dayplanv1.RegisterDayPlanServiceServer, dayplanv1.DayPlanServiceServer(dayplanv1.UnimplementedDayPlanServiceServer{}), dayplanv1.RegisterDayPlanServiceHandler),
		register(readinessv1.RegisterReadinessServiceServer, readinessv1.ReadinessServiceServer(readinessv1.UnimplementedReadinessServiceServer{}), readinessv1.RegisterReadinessServiceHandler),
		register(dayplanv1.RegisterEveningServiceServer, dayplanv1.EveningServiceServer(dayplanv1.UnimplementedEveningServiceServer{}), dayplanv1.RegisterEveningServiceHandler),
		register(graduationv1.RegisterGraduationServiceServer, graduationv1.GraduationServiceServer(graduationv1.UnimplementedGraduationServiceServer{}), graduationv1.RegisterGraduationServiceHandler),
		register(handoverv1.RegisterHandoverServiceServer, handoverv1.HandoverServiceServer(handoverv1.UnimplementedHandoverServiceServer{}), handoverv1.RegisterHandoverServiceHandler),
		register(daysheetv1.RegisterDaySheetServiceServer, daysheetv1.DaySheetServiceServer(daysheetv1.UnimplementedDaySheetServiceServer{}), daysheetv1.RegisterDaySheetServiceHandler),
		register(mailv1.RegisterMailServiceServer, mailv1.MailServiceServer(mailv1.UnimplementedMailServiceServer{}), mailv1.RegisterMailServiceHandler),
		register(peoplev1.RegisterPeopleServiceServer, peoplev1.PeopleServiceServer(peoplev1.UnimplementedPeopleServiceServer{}), peoplev1.RegisterPeopleServiceHandler),
		register(trainingv1.RegisterTrainingServiceServer, trainingv1.TrainingServiceServer(trainingv1.UnimplementedTrainingServiceServer{}), trainingv1.RegisterTrainingServiceHandler),
		register(exchangev1.RegisterExchangeServiceServer, exchangev1.ExchangeServiceServer(exchangev1.UnimplementedExchangeServiceServer{}), exchangev1.RegisterExchangeServiceHandler),
		register(plannerv1.RegisterMendServiceServer, plannerv1.MendServiceServer(plannerv1.UnimplementedMendServiceServer{}), plannerv1.RegisterMendServiceHandler),
		register(plannerv1.RegisterStandingServiceServer, plannerv1.StandingServiceServer(plannerv1.UnimplementedStandingServiceServer{}), plannerv1.RegisterStandingServiceHandler),
		register(plannerv1.RegisterPlannerServiceServer, plannerv1.PlannerServiceServer(p), plannerv1.RegisterPlannerServiceHandler),
	)
	require.NoError(t, err)
	t.Cleanup(func() { server.Stop(time.Second) })
	return edge{Server: server, log: log}
}

func register[S any](add func(grpc.ServiceRegistrar, S), server S, handler func(context.Context, *runtime.ServeMux, *grpc.ClientConn) error) rpc.Register {
	return rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { add(r, server) }, HTTP: handler}
}

// dial connects with a role's token; without a role, with none.
func (e edge) dial(t *testing.T, role string) *grpc.ClientConn {
	t.Helper()
	var options []grpc.DialOption
	if role != "" {
		options = append(options, grpc.WithPerRPCCredentials(rpc.TokenCredentials(token(role))))
	}
	conn, err := e.Dial(options...)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// logBuffer is a log that a test reads while the server writes.
type logBuffer struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (b *logBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *logBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

// infoOf returns the ErrorInfo of a status.
func infoOf(t *testing.T, err error) *errdetails.ErrorInfo {
	t.Helper()
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			require.Equal(t, "longlead", info.GetDomain())
			return info
		}
	}
	require.Failf(t, "no ErrorInfo", "%v", err)
	return nil
}
