package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/longlead/longlead/migrations"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"
)

// ListenOptions say where to serve. The defaults are open to this machine only: there is no TLS here, so put a proxy that has
// it in front before opening them wider.
type ListenOptions struct {
	GRPC   string `name:"grpc" default:"127.0.0.1:7610" help:"Address for gRPC." placeholder:"HOST:PORT"`
	HTTP   string `name:"http" default:"127.0.0.1:7611" help:"Address for HTTP/JSON." placeholder:"HOST:PORT"`
	Tokens string `help:"File of tokens: a line each with name, role and SHA-256 in hex. Without it a token is made and kept in the data folder." placeholder:"FILE"`
}

type serveCmd struct {
	ListenOptions
	MailOptions
}

// Run serves until interrupted.
func (c *serveCmd) Run(ctx context.Context, o *Options, std streams) error {
	if o.Server != "" {
		return usageError("serve works here, so --server makes no sense with it")
	}
	a, err := openApp(ctx, o, std, slog.LevelInfo)
	if err != nil {
		return err
	}
	defer a.Close()
	where, err := a.useMail(o, &c.MailOptions, false)
	if err != nil {
		return err
	}
	if err := a.work(ctx, true); err != nil {
		return err
	}
	fmt.Fprintln(o.notes(std), where)
	return serve(ctx, a, o, c.ListenOptions, std)
}

// serve opens the ports and waits for ctx to end. It then lets calls under way finish and returns nil.
func serve(ctx context.Context, a *app, o *Options, l ListenOptions, std streams) error {
	where, err := a.loadTokens(o, l.Tokens)
	if err != nil {
		return err
	}
	grpcListener, err := net.Listen("tcp", l.GRPC)
	if err != nil {
		return fmt.Errorf("open the gRPC port: %w (is another longlead serving? --grpc takes another address)", err)
	}
	httpListener, err := net.Listen("tcp", l.HTTP)
	if err != nil {
		_ = grpcListener.Close()
		return fmt.Errorf("open the HTTP port: %w (is another longlead serving? --http takes another address)", err)
	}
	web := &http.Server{Handler: a.school.Server.Handler(), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute}
	failed := make(chan error, 2)
	go func() { failed <- a.school.Server.ServeGRPC(grpcListener) }()
	go func() {
		if err := web.Serve(httpListener); !errors.Is(err, http.ErrServerClosed) {
			failed <- fmt.Errorf("serve HTTP: %w", err)
		}
	}()
	fmt.Fprintf(o.notes(std), "Serving the console on http://%s/, HTTP/JSON there too (described in /openapi.json), and gRPC on %s. %s Stop with Ctrl-C.\n", httpListener.Addr(), grpcListener.Addr(), where)
	select {
	case <-ctx.Done():
		err = nil
	case err = <-failed:
	}
	a.school.Server.Draining()
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopGrace)
	defer cancel()
	if shutErr := web.Shutdown(grace); shutErr != nil {
		a.log.Warn("stop HTTP", "error", shutErr)
	}
	fmt.Fprintln(o.notes(std), "Stopped.")
	return err
}

// loadTokens lets the callers of a token file in, or those of a token that is made once and kept in the data folder. It says
// where the token is; the token itself is never printed.
func (a *app) loadTokens(o *Options, file string) (string, error) {
	if file != "" {
		return "", a.tokens.Load(file)
	}
	path := filepath.Join(o.Data, "token")
	content, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		if err := os.MkdirAll(o.Data, 0o755); err != nil {
			return "", fmt.Errorf("make the data folder: %w", err)
		}
		content = []byte(rpc.NewToken() + "\n")
		err = os.WriteFile(path, content, 0o600)
	}
	if err != nil {
		return "", fmt.Errorf("keep a token in the data folder: %w", err)
	}
	return "The token is in " + path + ".", a.tokens.Add("token", "manager", strings.TrimSpace(string(content)))
}

type migrateCmd struct{}

// Run migrates the database of --database-url, or the private one.
func (c *migrateCmd) Run(ctx context.Context, o *Options, std streams) error {
	url, err := o.databaseURL()
	if err != nil {
		return err
	}
	a := &app{log: slog.New(slog.NewTextHandler(std.err, nil))}
	defer a.Close()
	if url == "" {
		if url, err = a.startPrivate(ctx, o, std.err); err != nil {
			return err
		}
	}
	pool, err := openPool(ctx, url)
	if err != nil {
		return err
	}
	defer pool.Close()
	report, err := postgres.Migrate(ctx, pool, migrations.FS)
	if err != nil {
		return err
	}
	if o.JSON {
		return json.NewEncoder(std.out).Encode(map[string]string{"migrated": fmt.Sprint(report)})
	}
	fmt.Fprintln(std.out, report)
	return nil
}
