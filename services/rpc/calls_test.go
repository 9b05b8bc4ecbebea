package rpc_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/emptypb"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

func noHTTP(context.Context, *runtime.ServeMux, *grpc.ClientConn) error { return nil }

// unaryHandler is what generated code would register: it goes through the interceptors and notes when it is reached.
func unaryHandler(called *bool) grpc.MethodHandler {
	return func(srv any, ctx context.Context, decode func(any) error, intercept grpc.UnaryServerInterceptor) (any, error) {
		in := &emptypb.Empty{}
		if err := decode(in); err != nil {
			return nil, err
		}
		return intercept(ctx, in, &grpc.UnaryServerInfo{Server: srv, FullMethod: "/made.up.Service/Open"}, func(context.Context, any) (any, error) {
			*called = true
			return &emptypb.Empty{}, nil
		})
	}
}

const internalText = "Something went wrong on our side; the log has the details."

func TestErrorsBecomeStatuses(t *testing.T) {
	t.Parallel()
	secret := errors.New("secret cause")
	for _, tc := range []struct {
		name   string
		err    error
		code   codes.Code
		text   string
		reason string
	}{
		{"invalid", apperr.Invalidf("BAD", "Mend it.").Because(secret), codes.InvalidArgument, "Mend it.", "BAD"},
		{"not found", apperr.NotFoundf("GONE", "It is gone."), codes.NotFound, "It is gone.", "GONE"},
		{"conflict", apperr.Conflictf("TAKEN", "It is taken."), codes.AlreadyExists, "It is taken.", "TAKEN"},
		{"precondition", apperr.Preconditionf("OLD", "It is old."), codes.FailedPrecondition, "It is old.", "OLD"},
		{"unavailable", apperr.Unavailablef("BUSY", "Try again."), codes.Unavailable, "Try again.", "BUSY"},
		{"denied", apperr.Deniedf("NO", "You may not."), codes.PermissionDenied, "You may not.", "NO"},
		{"unauthenticated", apperr.Unauthenticatedf("WHO", "Who is it?"), codes.Unauthenticated, "Who is it?", "WHO"},
		{"wrapped", fmt.Errorf("secret doing: %w", apperr.NotFoundf("GONE", "It is gone.")), codes.NotFound, "It is gone.", "GONE"},
		{"internal of ours", &apperr.Error{Kind: apperr.Internal, Message: "secret"}, codes.Internal, internalText, "INTERNAL"},
		{"any other", secret, codes.Internal, internalText, "INTERNAL"},
		{"internal status", status.Error(codes.Internal, "secret"), codes.Internal, internalText, "INTERNAL"},
		{"unknown status", status.Error(codes.Unknown, "secret"), codes.Internal, internalText, "INTERNAL"},
		{"cancelled", fmt.Errorf("secret: %w", context.Canceled), codes.Canceled, "The caller gave up.", "CALL_CANCELLED"},
		{"too late", fmt.Errorf("secret: %w", context.DeadlineExceeded), codes.DeadlineExceeded, "This took longer than the caller allowed.", "DEADLINE_EXCEEDED"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got := rpc.ToStatus(tc.err)
			require.Equal(t, tc.code, status.Code(got))
			require.Equal(t, tc.text, status.Convert(got).Message())
			require.Equal(t, tc.reason, infoOf(t, got).GetReason())
			require.NotContains(t, fmt.Sprint(status.Convert(got).Proto()), "secret")
		})
	}
	require.NoError(t, rpc.ToStatus(nil))
	passed := rpc.ToStatus(fmt.Errorf("secret: %w", status.Error(codes.Unimplemented, "not yet")))
	require.Equal(t, "not yet", status.Convert(passed).Message())
	require.Equal(t, codes.Unimplemented, status.Code(passed))
}

func TestBadFieldsAreNamed(t *testing.T) {
	t.Parallel()
	err := apperr.Invalidf("BAD", "Two fields are wrong.").With(apperr.Field{Path: "a.b", Rule: "must be a day", Remedy: "write 2027-03-01"}, apperr.Field{Path: "c", Rule: "must be \xff short"})
	got := status.Convert(rpc.ToStatus(err))
	require.Equal(t, "Two fields are wrong. a.b must be a day (write 2027-03-01). c must be \uFFFD short.", got.Message())
	violations := badRequest(t, got.Err()).GetFieldViolations()
	require.Len(t, violations, 2)
	require.Equal(t, "a.b", violations[0].GetField())
	require.Equal(t, "a.b must be a day (write 2027-03-01)", violations[0].GetDescription())

	// Statuses travel in headers of limited size, so a file with many faults must not make a call fail in another way.
	for range 5000 {
		err = err.With(apperr.Field{Path: "row", Rule: "must be right"})
	}
	many := newEdge(t, &planner{list: func(context.Context, *plannerv1.ListPlansRequest) error { return err }})
	_, callErr := plannerv1.NewPlannerServiceClient(many.dial(t, "manager")).ListPlans(t.Context(), &plannerv1.ListPlansRequest{})
	require.Equal(t, codes.InvalidArgument, status.Code(callErr))
	require.ErrorContains(t, callErr, "And 4982 more.")
	require.Len(t, badRequest(t, callErr).GetFieldViolations(), 20)
}

func badRequest(t *testing.T, err error) *errdetails.BadRequest {
	t.Helper()
	for _, d := range status.Convert(err).Details() {
		if bad, ok := d.(*errdetails.BadRequest); ok {
			return bad
		}
	}
	require.Failf(t, "no BadRequest", "%v", err)
	return nil
}

func TestValidationNamesFieldAndRule(t *testing.T) {
	t.Parallel()
	client := plannerv1.NewPlannerServiceClient(newEdge(t, &planner{}).dial(t, "manager"))
	_, err := client.DraftPlan(t.Context(), &plannerv1.DraftPlanRequest{Month: "March", Seconds: 601})
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	require.Equal(t, "FIELD_INVALID", infoOf(t, err).GetReason())
	violations := badRequest(t, err).GetFieldViolations()
	require.Len(t, violations, 2)
	require.Equal(t, "month", violations[0].GetField())
	require.Contains(t, violations[0].GetDescription(), "[0-9]{4}")
	require.Equal(t, "seconds", violations[1].GetField())
	require.Contains(t, violations[1].GetDescription(), "600")
	require.ErrorContains(t, err, "seconds")

	// A stream's request is checked as well, before the method sees it.
	stream, err := client.WatchDraft(t.Context(), &plannerv1.WatchDraftRequest{PlanId: "7"})
	require.NoError(t, err)
	_, err = stream.Recv()
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	require.Equal(t, "plan_id", badRequest(t, err).GetFieldViolations()[0].GetField())
}

// databaseError is what a store would return that forgot to look at an error: a real one, with SQL words in it.
func databaseError(t *testing.T) error {
	t.Helper()
	_, err := postgrestest.Database(t).Exec(t.Context(), `insert into facility.site (no_such_column) values ('secret dog')`)
	require.ErrorContains(t, err, "no_such_column", "the error must be one that would tell something")
	return fmt.Errorf("insert a site: %w", err)
}

func TestDatabaseErrorsAndPanicsStayInside(t *testing.T) {
	t.Parallel()
	database := databaseError(t)
	for name, fail := range map[string]func() error{
		"database":     func() error { return database },
		"panic":        func() error { panic("no_such_column") },
		"out of range": func() error { _ = os.Args[:0][len(database.Error())]; return nil },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			e := newEdge(t, &planner{list: func(context.Context, *plannerv1.ListPlansRequest) error { return fail() },
				watch: func(grpc.ServerStreamingServer[plannerv1.WatchDraftResponse]) error { return fail() }})
			client := plannerv1.NewPlannerServiceClient(e.dial(t, "manager"))
			_, err := client.ListPlans(t.Context(), &plannerv1.ListPlansRequest{})
			requireFixedText(t, err)
			stream, err := client.WatchDraft(t.Context(), &plannerv1.WatchDraftRequest{PlanId: planID})
			require.NoError(t, err)
			_, err = stream.Recv()
			requireFixedText(t, err)
			for _, path := range []string{"/v1/plans", "/v1/plans/" + planID + "/progress"} {
				reply := e.get(t, "manager", path)
				require.Equal(t, 500, reply.code)
				require.Contains(t, reply.body, internalText)
				require.NotContains(t, reply.body, "no_such_column")
				require.NotContains(t, reply.body, "SQLSTATE")
			}
			require.Equal(t, 4, strings.Count(e.log.String(), "call failed"), "each is logged once")
			if name != "out of range" {
				require.Contains(t, e.log.String(), "no_such_column", "the log has the details")
			} else {
				require.Contains(t, e.log.String(), "index out of range")
			}
			_, err = client.ReadPolicy(t.Context(), &plannerv1.ReadPolicyRequest{})
			require.Equal(t, codes.Unimplemented, status.Code(err), "the server lives on")
		})
	}
}

func requireFixedText(t *testing.T, err error) {
	t.Helper()
	require.Equal(t, codes.Internal, status.Code(err))
	require.Equal(t, internalText, status.Convert(err).Message())
	require.Equal(t, "INTERNAL", infoOf(t, err).GetReason())
	require.NotContains(t, fmt.Sprint(status.Convert(err).Proto()), "no_such_column")
}

func TestRequestIDs(t *testing.T) {
	t.Parallel()
	e := newEdge(t, &planner{})
	client := plannerv1.NewPlannerServiceClient(e.dial(t, "manager"))
	for _, tc := range []struct {
		name, offered string
		taken         bool
	}{{"none", "", false}, {"good", "office-7.2027_03", true}, {"too short", "abc", false}, {"log line", "abcdefgh x=1", false}, {"too long", strings.Repeat("a", 65), false}} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			ctx := t.Context()
			if tc.offered != "" {
				ctx = metadata.AppendToOutgoingContext(ctx, "x-request-id", tc.offered)
			}
			var header metadata.MD
			reply, err := client.ListPlans(ctx, &plannerv1.ListPlansRequest{}, grpc.Header(&header))
			require.NoError(t, err)
			require.Len(t, header.Get("x-request-id"), 1)
			id := header.Get("x-request-id")[0]
			require.Equal(t, tc.taken, id == tc.offered)
			require.GreaterOrEqual(t, len(id), 8)
			require.Equal(t, id, reply.GetPlans()[0].GetId(), "the handler sees it")
			require.Eventually(t, func() bool { return strings.Contains(e.log.String(), "request="+id) }, 5*time.Second, time.Millisecond)
		})
	}
}

func TestShortDeadlinesAreRefused(t *testing.T) {
	t.Parallel()
	called := false
	e := newEdge(t, &planner{list: func(context.Context, *plannerv1.ListPlansRequest) error { called = true; return nil }})
	client := plannerv1.NewPlannerServiceClient(e.dial(t, "manager"))
	ctx, cancel := context.WithTimeout(t.Context(), 95*time.Millisecond)
	defer cancel()
	_, err := client.ListPlans(ctx, &plannerv1.ListPlansRequest{})
	require.Equal(t, codes.DeadlineExceeded, status.Code(err))
	require.False(t, called)
	ctx, cancel = context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	_, err = client.ListPlans(ctx, &plannerv1.ListPlansRequest{})
	require.NoError(t, err)
	require.True(t, called)
}

func TestLogsHoldNoPersonalData(t *testing.T) {
	t.Parallel()
	e := newEdge(t, &planner{list: func(context.Context, *plannerv1.ListPlansRequest) error {
		return apperr.InvalidField("month", "of Rex Owner", "ask Rex Owner")
	}})
	client := plannerv1.NewPlannerServiceClient(e.dial(t, "manager"))
	_, err := client.ListPlans(t.Context(), &plannerv1.ListPlansRequest{})
	require.ErrorContains(t, err, "Rex Owner")
	_, err = client.ExplainRequest(t.Context(), &plannerv1.ExplainRequestRequest{PlanId: "7", RequestCode: "Rex Owner"})
	require.Error(t, err)
	require.Equal(t, 404, e.get(t, "manager", "/v1/Rex%20Owner").code)
	require.Eventually(t, func() bool { return strings.Count(e.log.String(), "call refused") == 2 }, 5*time.Second, time.Millisecond)
	for _, personal := range []string{"Rex", "Owner", token("manager")} {
		require.NotContains(t, e.log.String(), personal)
	}
	require.Contains(t, e.log.String(), "reason=INVALID_FIELD")
}

func TestStopDrains(t *testing.T) {
	t.Parallel()
	started, release := make(chan struct{}), make(chan struct{})
	e := newEdge(t, &planner{list: func(context.Context, *plannerv1.ListPlansRequest) error { close(started); <-release; return nil }})
	client := plannerv1.NewPlannerServiceClient(e.dial(t, "manager"))
	result := make(chan error, 1)
	go func() {
		_, err := client.ListPlans(context.Background(), &plannerv1.ListPlansRequest{})
		result <- err
	}()
	<-started
	stopped := make(chan struct{})
	go func() { e.Stop(time.Minute); close(stopped) }()
	require.Eventually(t, func() bool { return e.get(t, "", "/healthz").code == 503 }, 5*time.Second, time.Millisecond, "no new callers are sent here")
	select {
	case <-stopped:
		require.Fail(t, "stopped with a call under way")
	case <-time.After(50 * time.Millisecond):
	}
	close(release)
	require.NoError(t, <-result, "the call under way finished")
	<-stopped
}

func TestStopEndsWhatDoesNotFinish(t *testing.T) {
	t.Parallel()
	started, ended := make(chan struct{}), make(chan struct{})
	e := newEdge(t, &planner{watch: func(stream grpc.ServerStreamingServer[plannerv1.WatchDraftResponse]) error {
		close(started)
		<-stream.Context().Done()
		close(ended)
		return stream.Context().Err()
	}})
	stream, err := plannerv1.NewPlannerServiceClient(e.dial(t, "manager")).WatchDraft(t.Context(), &plannerv1.WatchDraftRequest{PlanId: planID})
	require.NoError(t, err)
	<-started
	e.Stop(20 * time.Millisecond)
	<-ended
	_, err = stream.Recv()
	require.Error(t, err)
}
