package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"github.com/longlead/longlead/migrations"
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/assembly"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/localpg"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"
)

// databaseName is the database in the private server.
const databaseName = "longlead"

// defaultPublicURL is where a server that serves this machine alone is reached.
const defaultPublicURL = "http://127.0.0.1:7611"

// stopGrace is how long calls and jobs may take to finish when the program ends.
const stopGrace = 10 * time.Second

// app is the wiring: a database, the services on it, and a connection to them. With --server it is the connection alone.
type app struct {
	conn *grpc.ClientConn
	// school is all services; absent with --server.
	school *assembly.School
	// pool is absent with --server.
	pool *postgres.Pool
	// jobs inserts jobs; absent with --server.
	jobs   *jobs.Client
	tokens *rpc.Tokens
	log    *slog.Logger
	// letters is what useMail has set.
	letters mail.WorkerDeps
	// publicURL is the address under which owners reach the server.
	publicURL string
	// close undoes what open did, last first.
	close []func()
}

// Close ends everything that open began.
func (a *app) Close() {
	for i := len(a.close) - 1; i >= 0; i-- {
		a.close[i]()
	}
}

// openApp connects to a server, or starts the services here.
func openApp(ctx context.Context, o *Options, std streams, level slog.Level) (*app, error) {
	a := &app{log: slog.New(slog.NewTextHandler(std.err, &slog.HandlerOptions{Level: level})), publicURL: cmp.Or(o.PublicURL, defaultPublicURL)}
	var err error
	if o.Server != "" {
		err = a.dial(o)
	} else {
		err = a.start(ctx, o, std.err)
	}
	if err != nil {
		a.Close()
		return nil, err
	}
	return a, nil
}

// dial connects to a server elsewhere.
func (a *app) dial(o *Options) error {
	token, err := os.ReadFile(o.TokenFile)
	if err != nil {
		return usageError(fmt.Sprintf("the token file cannot be read (%v)", err))
	}
	a.conn, err = grpc.NewClient(o.Server, grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithPerRPCCredentials(rpc.TokenCredentials(strings.TrimSpace(string(token)))),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(rpc.MaxMessage), grpc.MaxCallSendMsgSize(rpc.MaxMessage)))
	if err != nil {
		return fmt.Errorf("connect to %s: %w", o.Server, err)
	}
	a.close = append(a.close, func() { _ = a.conn.Close() })
	return nil
}

// start opens the database and runs the services in this process. Jobs wait until work is called, here or elsewhere.
func (a *app) start(ctx context.Context, o *Options, notes io.Writer) error {
	var err error
	if a.pool, err = a.openDatabase(ctx, o, notes); err != nil {
		return err
	}
	if a.jobs, err = jobs.New(a.pool, nil, jobs.Config{Logger: a.log}); err != nil {
		return fmt.Errorf("set up the jobs: %w", err)
	}
	return a.serveInProcess(a.pool, a.jobs)
}

// work makes this process work on jobs until Close. Only commands that stay while a draft is made do it: one that takes a
// draft up and ends at once would only delay it. With --server the work is done there.
func (a *app) work(ctx context.Context, stays bool) error {
	if a.pool == nil {
		return nil
	}
	client, err := a.school.Worker(assembly.Work{Stays: stays, Letters: a.letters})
	if err != nil {
		return err
	}
	if err := client.Start(ctx); err != nil {
		return fmt.Errorf("start the worker: %w", err)
	}
	a.close = append(a.close, func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopGrace)
		defer cancel()
		if err := client.Stop(ctx); err != nil {
			a.log.Warn("stop the worker", "error", err)
		}
	})
	a.rescue(ctx, planner.NewRescuer(a.pool, client, a.log))
	return nil
}

func (a *app) rescue(ctx context.Context, rescuer *planner.Rescuer) {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		rescuer.Run(ctx)
	}()
	a.close = append(a.close, func() { cancel(); <-done })
}

// openDatabase opens the server of --database-url, whose schema must be current, or the private one, which it migrates.
func (a *app) openDatabase(ctx context.Context, o *Options, notes io.Writer) (*postgres.Pool, error) {
	url, err := o.databaseURL()
	if err != nil {
		return nil, err
	}
	private := url == ""
	if private {
		if url, err = a.startPrivate(ctx, o, notes); err != nil {
			return nil, err
		}
	}
	pool, err := openPool(ctx, url)
	if err != nil {
		return nil, err
	}
	a.close = append(a.close, pool.Close)
	if private {
		_, err = postgres.Migrate(ctx, pool, migrations.FS)
	} else {
		err = postgres.CheckSchema(ctx, pool, migrations.FS)
	}
	return pool, err
}

// openPool tells a server that cannot be reached from other failures: a script may try again later.
func openPool(ctx context.Context, url string) (*postgres.Pool, error) {
	pool, err := postgres.Open(ctx, url, postgres.Options{})
	var network *net.OpError
	if errors.As(err, &network) && ctx.Err() == nil {
		return nil, apperr.Unavailablef("DATABASE_UNREACHABLE", "the database does not answer at %s (%v): start it, or correct --database-url", network.Addr, network.Err).Because(err)
	}
	return pool, err
}

func (a *app) startPrivate(ctx context.Context, o *Options, notes io.Writer) (string, error) {
	server, err := localpg.StartOrJoin(ctx, localpg.Options{DataDir: o.Data, Log: notes, Source: os.Getenv(localpg.EnvSource)})
	if err != nil {
		return "", err
	}
	if !server.Joined() {
		a.close = append(a.close, func() {
			if err := server.Stop(); err != nil {
				a.log.Warn("stop the private database", "error", err)
			}
		})
	}
	if err := server.EnsureDatabase(ctx, databaseName); err != nil {
		return "", err
	}
	return server.URL(databaseName), nil
}

// serveInProcess makes the servers and connects to them with a token of its own.
func (a *app) serveInProcess(pool *postgres.Pool, client *jobs.Client) error {
	a.tokens = &rpc.Tokens{}
	token := rand.Text()
	if err := a.tokens.Add(localName(), "manager", token); err != nil {
		return err
	}
	var err error
	a.school, err = assembly.New(assembly.Deps{Pool: pool, Jobs: client, Tokens: a.tokens, Log: a.log, Now: time.Now, PublicURL: a.publicURL,
		Door: assembly.NewDoor(pool, time.Now, a.log), Secure: strings.HasPrefix(a.publicURL, "https://")})
	if err != nil {
		return err
	}
	a.close = append(a.close, func() { a.school.Server.Stop(stopGrace) })
	a.conn, err = a.school.Server.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials(token)))
	if err != nil {
		return err
	}
	a.close = append(a.close, func() { _ = a.conn.Close() })
	return nil
}

// localName is who acts when somebody works on this machine: the name of the account.
func localName() string {
	for _, variable := range []string{"USER", "LOGNAME", "USERNAME"} {
		if name := os.Getenv(variable); name != "" {
			return name
		}
	}
	return "local"
}
