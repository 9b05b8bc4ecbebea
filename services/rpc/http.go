package rpc

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// newHTTP makes the HTTP side: the gateway for /v1/, pages, the description and the health page, behind the guards that hold for all.
func (s *Server) newHTTP(tokens *Tokens, gateway http.Handler, pages []Page, description []byte) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/v1/", onlyKnown(tokens, gateway))
	for _, p := range pages {
		mux.Handle(p.Pattern, p.handler(tokens))
	}
	mux.HandleFunc("GET /openapi.json", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(description)
	})
	mux.HandleFunc("GET /healthz", s.serveHealth)
	if !slices.ContainsFunc(pages, func(p Page) bool { return p.Pattern == "/" }) {
		mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { writeRoutingError(w, http.StatusNotFound) })
	}
	foreign := http.NewCrossOriginProtection()
	foreign.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		writeError(w, http.StatusForbidden, withDetails(codes.PermissionDenied, "A page of another site may not call this server.", reason("CROSS_ORIGIN")))
	}))
	return guard(foreign.Handler(mux))
}

// guard names the request, limits its body and sets the headers that every reply has. Replies hold personal data, so
// nothing may keep them; no header lets a page of another site read them.
func guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		id := chooseRequestID(r.Header.Values(requestIDHeader))
		r.Header.Set(requestIDHeader, id)
		h := w.Header()
		h.Set(requestIDHeader, id)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Cache-Control", "no-store")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		h.Set("Referrer-Policy", "no-referrer")
		if r.ContentLength > MaxMessage {
			writeError(w, http.StatusRequestEntityTooLarge, tooLarge())
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, MaxMessage)
		next.ServeHTTP(w, r)
	})
}

func tooLarge() error {
	return withDetails(codes.ResourceExhausted, fmt.Sprintf("The request is larger than %d MB: send its files in parts.", MaxMessage>>20), reason("REQUEST_TOO_LARGE"))
}

// onlyKnown turns callers without a known token away before their request is read. What they may do is for the call to decide.
func onlyKnown(tokens *Tokens, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, err := tokens.callerOf(r.Header.Values("Authorization")); err != nil {
			w.Header().Set("WWW-Authenticate", "Bearer")
			writeError(w, http.StatusUnauthorized, toStatus(err))
			return
		}
		if slices.ContainsFunc(r.Header.Values("Accept"), func(accept string) bool { return strings.Contains(accept, eventStream) }) {
			r.Header.Set("Accept", eventStream) // the gateway knows exact values only, and a caller may send a list
		}
		next.ServeHTTP(w, r)
	})
}

func (s *Server) serveHealth(w http.ResponseWriter, r *http.Request) {
	answer, err := s.health.Check(r.Context(), &healthv1.HealthCheckRequest{})
	if err != nil || answer.GetStatus() != healthv1.HealthCheckResponse_SERVING {
		http.Error(w, "stopping", http.StatusServiceUnavailable)
		return
	}
	fmt.Fprintln(w, "ok")
}

func writeError(w http.ResponseWriter, httpCode int, err error) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(httpCode)
	text, _ := protojson.Marshal(status.Convert(err).Proto()) // our own details are always known to protojson
	_, _ = w.Write(append(text, '\n'))
}

func writeRoutingError(w http.ResponseWriter, httpCode int) {
	switch httpCode {
	case http.StatusMethodNotAllowed:
		writeError(w, httpCode, withDetails(codes.Unimplemented, "This path does not take this method; /openapi.json lists what there is.", reason("METHOD_UNKNOWN")))
	case http.StatusNotFound:
		writeError(w, httpCode, withDetails(codes.NotFound, "There is nothing at this path; /openapi.json lists what there is.", reason("PATH_UNKNOWN")))
	default:
		writeError(w, httpCode, withDetails(codes.InvalidArgument, "The path cannot be read.", reason("PATH_INVALID")))
	}
}

// newGateway makes the mux that turns HTTP/JSON into calls. Names are those of the .proto files, as /openapi.json says, and
// a field that does not exist is refused rather than passed over: a slip of the pen must not become a default.
func newGateway() *runtime.ServeMux {
	parseStrictly()
	plain := &runtime.JSONPb{MarshalOptions: protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true}}
	return runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, plain),
		runtime.WithMarshalerOption(eventStream, &events{JSONPb: plain}),
		// The token passes on its own; no other header of the caller has a meaning to a call.
		runtime.WithIncomingHeaderMatcher(func(string) (string, bool) { return "", false }),
		// guard has set the one header that there is.
		runtime.WithOutgoingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithMetadata(func(_ context.Context, r *http.Request) metadata.MD {
			return metadata.Pairs(requestIDHeader, r.Header.Get(requestIDHeader))
		}),
		runtime.WithRoutingErrorHandler(func(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, _ *http.Request, httpCode int) {
			writeRoutingError(w, httpCode)
		}),
		runtime.WithErrorHandler(func(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, _ *http.Request, err error) {
			writeGatewayError(w, err)
		}),
	)
}

// parseStrictly sets the parser of query parameters. The library keeps it in one variable for all gateways of a process, so setting it
// with each of them would be a data race.
var parseStrictly = sync.OnceFunc(func() { runtime.SetQueryParameterParser(&strictQuery{})(nil) })

// strictQuery refuses query parameters that are no field of the request; by default the gateway passes over them.
type strictQuery struct{ runtime.DefaultQueryParser }

// Parse implements runtime.QueryParameterParser.
func (q *strictQuery) Parse(request proto.Message, values url.Values, filter *utilities.DoubleArray) error {
	fields := request.ProtoReflect().Descriptor().Fields()
	for key := range values {
		name, _, _ := strings.Cut(key, ".")
		name, _, _ = strings.Cut(name, "[")
		if fields.ByTextName(name) == nil && fields.ByJSONName(name) == nil {
			return fmt.Errorf("there is no field %q", name)
		}
	}
	return q.DefaultQueryParser.Parse(request, values, filter)
}

// writeGatewayError writes the error of a call, or of the gateway itself, which gives no reason of its own.
func writeGatewayError(w http.ResponseWriter, err error) {
	w.Header().Del("Transfer-Encoding")
	s := status.Convert(err)
	switch {
	case len(s.Details()) > 0:
	case s.Code() == codes.InvalidArgument && strings.Contains(s.Message(), "request body too large"):
		writeError(w, http.StatusRequestEntityTooLarge, tooLarge())
		return
	case s.Code() == codes.InvalidArgument:
		err = withDetails(codes.InvalidArgument, "The request cannot be read: "+s.Message(), reason("REQUEST_UNREADABLE"))
	case isOurs(s.Code()):
		err = withDetails(codes.Internal, internalText, reason("INTERNAL"))
	}
	if s.Code() == codes.Unauthenticated {
		w.Header().Set("WWW-Authenticate", "Bearer")
	}
	writeError(w, runtime.HTTPStatusFromCode(s.Code()), err)
}

// eventStream is the type of server-sent events (WHATWG HTML, "Server-sent events").
const eventStream = "text/event-stream"

// events writes each message of a stream as one event: JSON on one line after "data:", and an empty line.
type events struct {
	*runtime.JSONPb
}

// StreamContentType implements runtime.StreamContentType.
func (e *events) StreamContentType(any) string { return eventStream }

// ContentType implements runtime.Marshaler. A single reply is no stream and stays JSON.
func (e *events) ContentType(v any) string {
	if _, single := v.(proto.Message); single {
		return e.JSONPb.ContentType(v)
	}
	return eventStream
}

// Marshal implements runtime.Marshaler. The gateway hands the items of a stream over inside a map, and single replies bare.
func (e *events) Marshal(v any) ([]byte, error) {
	text, err := e.JSONPb.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("write an event: %w", err)
	}
	if _, single := v.(proto.Message); single {
		return text, nil
	}
	return append([]byte("data: "), text...), nil
}

// Delimiter implements runtime.Delimited.
func (e *events) Delimiter() []byte { return []byte("\n\n") }
