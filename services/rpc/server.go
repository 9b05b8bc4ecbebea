package rpc

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"buf.build/go/protovalidate"
	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/test/bufconn"

	"github.com/longlead/longlead/proto/longlead/openapi"
)

// MaxMessage is the largest request or reply in bytes; an import of several spreadsheets fits.
const MaxMessage = 256 << 20

// Register adds one service to the server, and its HTTP/JSON side. One that has pages alone leaves GRPC and HTTP nil.
type Register struct {
	// GRPC registers the service.
	GRPC func(grpc.ServiceRegistrar)
	// HTTP registers the generated gateway handler.
	HTTP func(context.Context, *runtime.ServeMux, *grpc.ClientConn) error
	// Pages are what it serves over HTTP beside its calls; may be nil. The connection is for calls on behalf of whoever asks (CallContext).
	Pages func(*grpc.ClientConn) []Page
}

// Server serves a set of services over gRPC, HTTP/JSON and in process. Make it with NewServer.
type Server struct {
	grpc    *grpc.Server
	health  *health.Server
	local   *bufconn.Listener
	conn    *grpc.ClientConn
	handler http.Handler
	log     *slog.Logger
}

// NewServer makes a server for services. It answers in process at once (Dial); ServeGRPC and Handler are for ports.
func NewServer(log *slog.Logger, tokens *Tokens, services ...Register) (*Server, error) {
	validator, err := protovalidate.New()
	if err != nil {
		return nil, fmt.Errorf("make the request validator: %w", err)
	}
	s := &Server{log: log, health: health.NewServer(), local: bufconn.Listen(1 << 20)}
	s.grpc = grpc.NewServer(
		grpc.MaxRecvMsgSize(MaxMessage), grpc.MaxSendMsgSize(MaxMessage),
		grpc.InTapHandle(tapToken(log, tokens)),
		grpc.ChainUnaryInterceptor(finishUnary(log), authorizeUnary(tokens), validateUnary(validator)),
		grpc.ChainStreamInterceptor(finishStream(log), authorizeStream(tokens), validateStream(validator)),
	)
	for _, service := range services {
		if service.GRPC != nil {
			service.GRPC(s.grpc)
		}
	}
	for name := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(name, healthv1.HealthCheckResponse_SERVING)
	}
	healthv1.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	go func() { _ = s.grpc.Serve(s.local) }()
	if err := s.openHTTP(tokens, services); err != nil {
		s.grpc.Stop()
		return nil, err
	}
	return s, nil
}

// openHTTP connects the gateway to the services.
func (s *Server) openHTTP(tokens *Tokens, services []Register) error {
	description, err := openapi.Document()
	if err != nil {
		return err
	}
	if s.conn, err = s.Dial(); err != nil {
		return err
	}
	gateway := newGateway()
	var pages []Page
	for _, service := range services {
		if service.Pages != nil {
			pages = append(pages, service.Pages(s.conn)...)
		}
		if service.HTTP == nil {
			continue
		}
		if err := service.HTTP(context.Background(), gateway, s.conn); err != nil {
			_ = s.conn.Close()
			return fmt.Errorf("register the HTTP side: %w", err)
		}
	}
	s.handler = s.newHTTP(tokens, gateway, pages, description)
	return nil
}

// Dial opens a connection to the server inside this process. The caller closes it.
func (s *Server) Dial(options ...grpc.DialOption) (*grpc.ClientConn, error) {
	options = append([]grpc.DialOption{
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return s.local.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(MaxMessage), grpc.MaxCallSendMsgSize(MaxMessage)),
	}, options...)
	conn, err := grpc.NewClient("passthrough:///in-process", options...)
	if err != nil {
		return nil, fmt.Errorf("connect in process: %w", err)
	}
	return conn, nil
}

// Handler is the HTTP side: /v1/ is the JSON API, /openapi.json describes it, /healthz says ok until Stop, and services have pages. Give it a
// server with a ReadHeaderTimeout; a limit on whole requests would cut streams off.
func (s *Server) Handler() http.Handler { return s.handler }

// ServeGRPC serves gRPC on a listener until Stop.
func (s *Server) ServeGRPC(listener net.Listener) error {
	if err := s.grpc.Serve(listener); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
		return fmt.Errorf("serve gRPC on %s: %w", listener.Addr(), err)
	}
	return nil
}

// Draining tells those who ask for its health that the server is about to stop, so that they send nobody new. Stop does it too.
func (s *Server) Draining() { s.health.Shutdown() }

// Stop lets calls under way finish for at most grace, then ends them.
func (s *Server) Stop(grace time.Duration) {
	s.health.Shutdown()
	done := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(done)
	}()
	select {
	case <-done:
	case <-time.After(grace):
		s.grpc.Stop()
		<-done
	}
	if err := s.conn.Close(); err != nil {
		s.log.Warn("close the in-process connection", "error", err)
	}
}

// TokenCredentials sends a bearer token with every call of a connection.
type TokenCredentials string

// GetRequestMetadata implements credentials.PerRPCCredentials.
func (t TokenCredentials) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(t)}, nil
}

// RequireTransportSecurity is false: the server listens on loopback or behind a proxy that ends TLS.
func (t TokenCredentials) RequireTransportSecurity() bool { return false }
