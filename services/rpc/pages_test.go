package rpc_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/rpc"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// newPages is a server with one page of each sort: /open for everybody, /list, which makes a call that needs permission to read plans, and
// /draft, which makes one that needs permission to draft them.
func newPages(t *testing.T) http.Handler {
	t.Helper()
	tokens := &rpc.Tokens{}
	for _, role := range roleNames {
		require.NoError(t, tokens.Add(role, role, token(role)))
	}
	pages := func(conn *grpc.ClientConn) []rpc.Page {
		client := plannerv1.NewPlannerServiceClient(conn)
		return []rpc.Page{
			{Pattern: "GET /open/{what}", Open: true, Serve: func(w http.ResponseWriter, r *http.Request) { _, _ = io.WriteString(w, r.PathValue("what")) }},
			{Pattern: "GET /list", Serve: func(w http.ResponseWriter, r *http.Request) {
				got, err := client.ListPlans(rpc.CallContext(r), &plannerv1.ListPlansRequest{Month: "2027-03"})
				if err != nil {
					rpc.WriteError(w, err)
					return
				}
				_, _ = io.WriteString(w, got.GetPlans()[0].GetMadeBy()+" "+got.GetPlans()[0].GetId())
			}},
			{Pattern: "GET /draft", Serve: func(w http.ResponseWriter, r *http.Request) {
				_, err := client.DraftPlan(rpc.CallContext(r), &plannerv1.DraftPlanRequest{Month: "2027-03"})
				rpc.WriteError(w, err)
			}},
			{Pattern: "GET /fault", Open: true, Serve: func(w http.ResponseWriter, _ *http.Request) { rpc.WriteError(w, errors.New("table daysheet is gone")) }},
			{Pattern: "GET /absent", Open: true, Serve: func(w http.ResponseWriter, _ *http.Request) {
				rpc.WriteError(w, apperr.NotFoundf("NOT_HERE", "There is nothing here."))
			}},
		}
	}
	server, err := rpc.NewServer(slog.New(slog.DiscardHandler), tokens, rpc.Register{
		GRPC:  func(r grpc.ServiceRegistrar) { plannerv1.RegisterPlannerServiceServer(r, &planner{}) },
		HTTP:  plannerv1.RegisterPlannerServiceHandler,
		Pages: pages})
	require.NoError(t, err)
	t.Cleanup(func() { server.Stop(time.Second) })
	return server.Handler()
}

func TestPages(t *testing.T) {
	t.Parallel()
	handler := newPages(t)
	for _, tc := range []struct {
		name, role, method, path string
		code                     int
		says                     string
	}{
		{"open", "", "GET", "/open/door", 200, "door"},
		{"closed", "", "GET", "/list", 401, "TOKEN_MISSING"},
		{"known", "viewer", "GET", "/list", 200, "viewer page-request-1"},
		{"not allowed", "viewer", "GET", "/draft", 403, "PERMISSION_MISSING"},
		{"other method", "viewer", "POST", "/list", 404, "PATH_UNKNOWN"},
		{"fault of ours", "", "GET", "/fault", 500, "INTERNAL"},
		{"not there", "", "GET", "/absent", 404, "NOT_HERE"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			r := httptest.NewRequestWithContext(t.Context(), tc.method, tc.path, nil)
			r.Header.Set("X-Request-Id", "page-request-1")
			if tc.role != "" {
				r.Header.Set("Authorization", "Bearer "+token(tc.role))
			}
			w := httptest.NewRecorder()
			handler.ServeHTTP(w, r)
			require.Equal(t, tc.code, w.Code, w.Body.String())
			require.Contains(t, w.Body.String(), tc.says)
			require.NotContains(t, w.Body.String(), "daysheet is gone", "what is wrong with us is for the log")
			require.Equal(t, "no-store", w.Header().Get("Cache-Control"), "a page must ask for less")
			require.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
		})
	}
}

func TestNobodyIsAllowedOutsideOfACall(t *testing.T) {
	t.Parallel()
	const read = accessv1.Permission_PERMISSION_READ_RECORDS
	require.False(t, rpc.Allows(context.Background(), read))
	ctx := rpc.WithCaller(context.Background(), rpc.Caller{Name: "x", Permissions: []accessv1.Permission{accessv1.Permission_PERMISSION_READ_PLANS}})
	require.False(t, rpc.Allows(ctx, read))
	require.True(t, rpc.Allows(ctx, accessv1.Permission_PERMISSION_READ_PLANS))
}
