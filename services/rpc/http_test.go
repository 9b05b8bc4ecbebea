package rpc_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

const planID = "01920000-0000-7000-8000-000000000007"

type reply struct {
	code   int
	body   string
	header http.Header
}

// json reads the body as an error, and returns its reason.
func (r reply) reason(t *testing.T) string {
	t.Helper()
	require.Equal(t, "application/json", r.header.Get("Content-Type"))
	var body struct {
		Message string
		Details []struct{ Reason, Domain string }
	}
	require.NoError(t, json.Unmarshal([]byte(r.body), &body), r.body)
	require.NotEmpty(t, body.Message)
	require.NotEmpty(t, body.Details, r.body)
	require.Equal(t, "longlead", body.Details[0].Domain)
	return body.Details[0].Reason
}

func (e edge) get(t *testing.T, role, path string) reply {
	t.Helper()
	return e.send(t, role, http.MethodGet, path, nil, nil)
}

func (e edge) send(t *testing.T, role, method, path string, body io.Reader, header map[string]string) reply {
	t.Helper()
	r := httptest.NewRequestWithContext(t.Context(), method, path, body)
	if role != "" {
		r.Header.Set("Authorization", "Bearer "+token(role))
	}
	for k, v := range header {
		r.Header.Set(k, v)
	}
	w := httptest.NewRecorder()
	e.Handler().ServeHTTP(w, r)
	return reply{code: w.Code, body: w.Body.String(), header: w.Header()}
}

func TestHTTPErrors(t *testing.T) {
	t.Parallel()
	e := newEdge(t, &planner{})
	for _, tc := range []struct {
		name, role, method, path, body string
		code                           int
		reason                         string
	}{
		{"no token", "", "GET", "/v1/plans", "", 401, "TOKEN_MISSING"},
		{"not allowed", "viewer", "POST", "/v1/plans", `{"month":"2027-03"}`, 403, "PERMISSION_MISSING"},
		{"bad field", "manager", "POST", "/v1/plans", `{"month":"March"}`, 400, "FIELD_INVALID"},
		{"no such field", "manager", "POST", "/v1/plans", `{"mnoth":"2027-03"}`, 400, "REQUEST_UNREADABLE"},
		{"wrong type", "manager", "POST", "/v1/plans", `{"month":7}`, 400, "REQUEST_UNREADABLE"},
		{"no JSON", "manager", "POST", "/v1/plans", `month=2027-03`, 400, "REQUEST_UNREADABLE"},
		{"bad query", "manager", "GET", "/v1/plans?nothing=1", "", 400, "REQUEST_UNREADABLE"},
		{"unknown path", "manager", "GET", "/v1/nothing", "", 404, "PATH_UNKNOWN"},
		{"unknown path elsewhere", "", "GET", "/nothing", "", 404, "PATH_UNKNOWN"},
		{"top", "", "GET", "/", "", 404, "PATH_UNKNOWN"},
		{"wrong method", "manager", "DELETE", "/v1/plans", "", 405, "METHOD_UNKNOWN"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got := e.send(t, tc.role, tc.method, tc.path, strings.NewReader(tc.body), nil)
			require.Equal(t, tc.code, got.code, got.body)
			require.Equal(t, tc.reason, got.reason(t))
			if tc.code == 401 {
				require.Equal(t, "Bearer", got.header.Get("WWW-Authenticate"))
			}
		})
	}
}

func TestHTTPPassesTheTokenAndTheNameOfTheCall(t *testing.T) {
	t.Parallel()
	e := newEdge(t, &planner{})
	got := e.send(t, "office", "GET", "/v1/plans?month=2027-03", nil, map[string]string{"X-Request-Id": "from-the-office"})
	require.Equal(t, 200, got.code, got.body)
	require.Contains(t, got.body, `"made_by":"office"`)
	require.Contains(t, got.body, `"id":"from-the-office"`)
	require.Equal(t, "from-the-office", got.header.Get("X-Request-Id"))
	require.Len(t, got.header.Values("X-Request-Id"), 1)
	require.NotEmpty(t, e.get(t, "", "/nothing").header.Get("X-Request-Id"))
}

func TestHTTPHeaders(t *testing.T) {
	t.Parallel()
	e := newEdge(t, &planner{})
	for _, path := range []string{"/v1/plans", "/openapi.json", "/healthz", "/nothing"} {
		got := e.send(t, "manager", "GET", path, nil, map[string]string{"Origin": "https://elsewhere.example"})
		require.Equal(t, "nosniff", got.header.Get("X-Content-Type-Options"), path)
		require.Equal(t, "no-store", got.header.Get("Cache-Control"), path)
		for name := range got.header {
			require.NotContains(t, name, "Access-Control", path)
		}
	}
	asked := e.send(t, "manager", "OPTIONS", "/v1/plans", nil, map[string]string{"Origin": "https://elsewhere.example", "Access-Control-Request-Method": "POST"})
	require.GreaterOrEqual(t, asked.code, 400)
	require.Empty(t, asked.header.Get("Access-Control-Allow-Origin"))
	foreign := e.send(t, "manager", "POST", "/v1/plans", strings.NewReader(`{"month":"2027-03"}`), map[string]string{"Origin": "https://elsewhere.example"})
	require.Equal(t, 403, foreign.code)
	require.Equal(t, "CROSS_ORIGIN", foreign.reason(t))
}

// endless is a body that never ends and counts what was read of it.
type endless struct{ read int64 }

func (b *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = ' '
	}
	b.read += int64(len(p))
	return len(p), nil
}

func TestHTTPBodiesAreLimited(t *testing.T) {
	t.Parallel()
	e := newEdge(t, &planner{})
	nobody := &endless{}
	require.Equal(t, 401, e.send(t, "", "POST", "/v1/import", nobody, nil).code)
	require.Zero(t, nobody.read, "nobody's request is not read at all")

	declared := httptest.NewRequestWithContext(t.Context(), "POST", "/v1/import", &endless{})
	declared.ContentLength = rpc.MaxMessage + 1
	w := httptest.NewRecorder()
	e.Handler().ServeHTTP(w, declared)
	require.Equal(t, 413, w.Code)
	require.Equal(t, "REQUEST_TOO_LARGE", reply{code: w.Code, body: w.Body.String(), header: w.Header()}.reason(t))

	if testing.Short() {
		return
	}
	body := &endless{}
	got := e.send(t, "manager", "POST", "/v1/import", body, nil)
	require.Equal(t, 413, got.code, got.body)
	require.Equal(t, "REQUEST_TOO_LARGE", got.reason(t))
	require.Less(t, body.read, int64(rpc.MaxMessage+(1<<20)))
}

func TestHTTPStreams(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ accept, contentType, prefix, between string }{
		{"", "application/json", "", ""},
		{"text/event-stream", "text/event-stream", "data: ", "\n"},
		{"text/event-stream, */*", "text/event-stream", "data: ", "\n"},
	} {
		t.Run(tc.accept, func(t *testing.T) {
			t.Parallel()
			next, gone := make(chan struct{}), make(chan struct{})
			e := newEdge(t, &planner{watch: func(stream grpc.ServerStreamingServer[plannerv1.WatchDraftResponse]) error {
				for _, phase := range []string{"first\nline", "second"} {
					if err := stream.Send(&plannerv1.WatchDraftResponse{Phase: phase}); err != nil {
						return err
					}
					<-next
				}
				<-stream.Context().Done()
				close(gone)
				return stream.Context().Err()
			}})
			web := httptest.NewServer(e.Handler())
			defer web.Close()
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			req, err := http.NewRequestWithContext(ctx, "GET", web.URL+"/v1/plans/"+planID+"/progress", nil)
			require.NoError(t, err)
			req.Header.Set("Authorization", "Bearer "+token("viewer"))
			if tc.accept != "" {
				req.Header.Set("Accept", tc.accept)
			}
			res, err := web.Client().Do(req)
			require.NoError(t, err)
			defer func() { _ = res.Body.Close() }()
			require.Equal(t, tc.contentType, res.Header.Get("Content-Type"))
			body := bufio.NewReader(res.Body)
			for _, phase := range []string{"first\nline", "second"} {
				line, err := body.ReadString('\n') // comes at once: the handler waits for us before it sends more
				require.NoError(t, err)
				text, ok := strings.CutPrefix(line, tc.prefix)
				require.True(t, ok, line)
				var item struct{ Result struct{ Phase string } }
				require.NoError(t, json.Unmarshal([]byte(text), &item), line)
				require.Equal(t, phase, item.Result.Phase)
				if tc.between != "" {
					empty, err := body.ReadString('\n')
					require.NoError(t, err)
					require.Equal(t, tc.between, empty)
				}
				next <- struct{}{}
			}
			cancel()
			select {
			case <-gone:
			case <-time.After(10 * time.Second):
				require.Fail(t, "the handler did not hear that the caller has gone")
			}
		})
	}
}

func TestEventsAreForStreamsOnly(t *testing.T) {
	t.Parallel()
	e := newEdge(t, &planner{watch: func(stream grpc.ServerStreamingServer[plannerv1.WatchDraftResponse]) error {
		return fmt.Errorf("never reached by a bad ID")
	}})
	events := map[string]string{"Accept": "text/event-stream"}
	single := e.send(t, "manager", "GET", "/v1/plans", nil, events)
	require.Equal(t, "application/json", single.header.Get("Content-Type"))
	require.True(t, json.Valid([]byte(single.body)), single.body)
	failed := e.send(t, "manager", "GET", "/v1/plans/7/progress", nil, events)
	require.Equal(t, 400, failed.code)
	require.Contains(t, failed.body, "FIELD_INVALID")
	require.True(t, strings.HasPrefix(failed.body, `data: {"error":`), failed.body)
}

// variable is one variable of a path.
var variable = regexp.MustCompile(`\{[^}]*\}`)

func shape(path string) string { return variable.ReplaceAllString(path, "{}") }

// routes are method and path of every HTTP rule in our .proto files.
func routes(t *testing.T) map[string]bool {
	t.Helper()
	found := map[string]bool{}
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		for s := range file.Services().Len() {
			for m := range file.Services().Get(s).Methods().Len() {
				method := file.Services().Get(s).Methods().Get(m)
				if !strings.HasPrefix(file.Path(), "longlead/") {
					continue
				}
				rule, _ := proto.GetExtension(method.Options(), annotations.E_Http).(*annotations.HttpRule)
				require.NotNil(t, rule, "%s has no HTTP route", method.FullName())
				for verb, path := range map[string]string{"get": rule.GetGet(), "post": rule.GetPost(), "put": rule.GetPut(), "delete": rule.GetDelete(), "patch": rule.GetPatch()} {
					if path != "" {
						found[verb+" "+shape(path)] = true
					}
				}
			}
		}
		return true
	})
	require.Greater(t, len(found), 25)
	return found
}

type description struct {
	Swagger             string
	Info                struct{ Title, Version string }
	SecurityDefinitions map[string]struct{ Type, In, Name string }
	Security            []map[string][]string
	Paths               map[string]map[string]struct {
		OperationID string
		Parameters  []struct {
			Name, In string
			Required bool
		}
		Responses map[string]any
	}
	Definitions map[string]any
}

func TestTheDescriptionCoversEveryRoute(t *testing.T) {
	t.Parallel()
	got := newEdge(t, &planner{}).get(t, "", "/openapi.json")
	require.Equal(t, 200, got.code)
	require.Equal(t, "application/json", got.header.Get("Content-Type"))
	var doc description
	require.NoError(t, json.Unmarshal([]byte(got.body), &doc))
	require.Equal(t, "2.0", doc.Swagger)
	require.Equal(t, "Longlead", doc.Info.Title)
	require.NotEmpty(t, doc.Info.Version)
	bearer := doc.SecurityDefinitions["bearer"]
	require.Equal(t, "apiKey header Authorization", strings.Join([]string{bearer.Type, bearer.In, bearer.Name}, " "))
	require.Equal(t, []map[string][]string{{"bearer": {}}}, doc.Security)

	described, shapes, operations := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for path, methods := range doc.Paths {
		require.False(t, shapes[shape(path)], "OpenAPI takes paths that differ in names only for one: %s", path)
		shapes[shape(path)] = true
		for verb, operation := range methods {
			described[verb+" "+shape(path)] = true
			require.False(t, operations[operation.OperationID], operation.OperationID)
			operations[operation.OperationID] = true
			require.NotEmpty(t, operation.Responses)
			inPath := map[string]bool{}
			for _, p := range operation.Parameters {
				if p.In == "path" {
					require.True(t, p.Required)
					inPath["{"+p.Name+"}"] = true
				}
			}
			names := variable.FindAllString(path, -1)
			require.Len(t, inPath, len(names), "%s %s", verb, path)
			for _, name := range names {
				require.True(t, inPath[name], "%s %s describes %s", verb, path, name)
			}
		}
	}
	require.Equal(t, routes(t), described)
	for _, ref := range regexp.MustCompile(`"#/definitions/([^"]+)"`).FindAllStringSubmatch(got.body, -1) {
		require.Contains(t, doc.Definitions, ref[1])
	}
}

// Servers of one process may be made at the same time; the race detector says whether their gateways share anything that they write.
func TestGatewaysAreMadeAtOnce(t *testing.T) {
	t.Parallel()
	var made sync.WaitGroup
	muxes := make([]http.Handler, 8)
	for i := range muxes {
		made.Go(func() { muxes[i] = rpc.NewGateway() })
	}
	made.Wait()
	for i, mux := range muxes {
		answer := httptest.NewRecorder()
		mux.ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/v1/nothing", nil))
		require.Contains(t, answer.Body.String(), "PATH_UNKNOWN", "gateway %d", i)
	}
}
