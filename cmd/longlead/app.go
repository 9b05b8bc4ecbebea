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
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"github.com/longlead/longlead/migrations"
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/daysheet"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/graduation"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/localpg"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/readiness"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"
	"github.com/longlead/longlead/services/training"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// databaseName is the database in the private server.
const databaseName = "longlead"

// defaultPublicURL is where a server that serves this machine alone is reached.
const defaultPublicURL = "http://127.0.0.1:7611"

// stopGrace is how long calls and jobs may take to finish when the program ends.
const stopGrace = 10 * time.Second

// app is the wiring: a database, the services on it, and a connection to them. With --server it is the connection alone.
type app struct {
	conn   *grpc.ClientConn
	server *rpc.Server
	// pool is absent with --server.
	pool *postgres.Pool
	// jobs inserts jobs; absent with --server.
	jobs   *jobs.Client
	tokens *rpc.Tokens
	log    *slog.Logger
	// outbox takes letters to owners; absent with --server. letters is what useMail has set.
	outbox  *mail.Outbox
	letters mail.WorkerDeps
	// book keeps appointments with owners; absent with --server.
	book *handover.Book
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
// draft up and ends at once would only delay it. With --server the work is done there. Days are planned by their schedule only in processes
// that stay, but any of them may have to insert the looks for those.
func (a *app) work(ctx context.Context, stays bool) error {
	if a.pool == nil {
		return nil
	}
	workers := jobs.NewWorkers()
	planner.NewWorker(a.pool, a.jobs, a.log).Register(workers)
	dayplan.NewEvenings(dayplan.EveningsDeps{Pool: a.pool, Jobs: a.jobs, Mint: ids.NewMint(), Now: time.Now, Log: a.log}).Register(workers)
	a.mailWorker().Register(workers)
	queues := map[string]int{planner.Queue: planner.JobsAtOnce(a.pool), jobs.DefaultQueue: 2}
	if stays {
		queues[dayplan.Queue], queues[graduation.Queue] = dayplan.JobsAtOnce, graduation.JobsAtOnce
	}
	if a.letters.Sender != nil {
		queues[mail.Queue] = mail.JobsAtOnce
	}
	graduation.NewLooks(graduation.LooksDeps{Pool: a.pool, Book: a.book, Outbox: a.outbox, Now: time.Now, Log: a.log, PublicURL: a.publicURL}).Register(workers)
	periodic := slices.Concat(dayplan.Periodic(), mail.Periodic(), graduation.Periodic())
	client, err := jobs.New(a.pool, workers, jobs.Config{Queues: queues, Periodic: periodic, Logger: a.log, StopSoftly: time.Second})
	if err != nil {
		return fmt.Errorf("set up the worker: %w", err)
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

// allPorts are all kinds of record in import order.
func allPorts() []records.Port {
	var ports []records.Port
	for _, p := range [][]records.Port{facility.Ports(), roster.Ports(rosterSites), enrollment.Ports(enrollmentSites), planner.Ports(), training.Ports(planner.TrainingKnown()), handover.Ports(planner.HandoverKnown()), graduation.Ports()} {
		ports = append(ports, p...)
	}
	return ports
}

// serveInProcess makes the servers and connects to them with a token of its own.
func (a *app) serveInProcess(pool *postgres.Pool, client *jobs.Client) error {
	mint := ids.NewMint()
	a.tokens = &rpc.Tokens{}
	token := rand.Text()
	if err := a.tokens.Add(localName(), "manager", token); err != nil {
		return err
	}
	facilityServer := facility.NewServer(facility.Deps{Pool: pool, Mint: mint})
	rosterServer := roster.NewServer(roster.Deps{Pool: pool, Mint: mint, Sites: rosterSites})
	enrollmentServer := enrollment.NewServer(enrollment.Deps{Pool: pool, Mint: mint, Now: time.Now, Caller: rpc.CallerName, Sites: enrollmentSites})
	exchangeServer := exchange.NewServer(exchange.Deps{Pool: pool, Mint: mint, Now: time.Now, Caller: rpc.CallerName, Ports: allPorts()})
	plannerServer := planner.NewServer(planner.Deps{Pool: pool, Mint: mint, Now: time.Now, Jobs: client, Caller: rpc.CallerName, Sites: rosterSites, Areas: dayplan.ListAreaUse})
	trainingServer := training.NewServer(training.Deps{Pool: pool, Now: time.Now, Caller: rpc.CallerName, Known: planner.TrainingKnown()})
	dayplanServer := dayplan.NewServer(dayplan.Deps{Pool: pool, Mint: mint, Now: time.Now, Caller: rpc.CallerName})
	readinessServer := readiness.NewServer(readiness.Deps{Pool: pool, Now: time.Now, Caller: rpc.CallerName})
	eveningServer := dayplan.NewEveningServer(dayplan.Deps{Pool: pool, Mint: mint, Now: time.Now, Caller: rpc.CallerName})
	daysheetServer := daysheet.NewServer(daysheet.Deps{Pool: pool, Mint: mint, Now: time.Now, Caller: rpc.CallerName, Allows: rpc.Allows, Log: a.log})
	a.outbox = mail.NewOutbox(mail.OutboxDeps{Jobs: client, Mint: mint, Now: time.Now})
	mailServer := mail.NewServer(mail.Deps{Pool: pool, Outbox: a.outbox, Mint: mint, Now: time.Now, Caller: rpc.CallerName})
	a.book = handover.NewBook(handover.BookDeps{Mint: mint, Now: time.Now, Known: planner.HandoverKnown(), Fits: graduation.Fits,
		Changed: graduation.Teller{Outbox: a.outbox, Jobs: client, PublicURL: a.publicURL}.Changed})
	handoverServer := handover.NewServer(handover.Deps{Pool: pool, Book: a.book, Caller: rpc.CallerName, PublicURL: a.publicURL, Log: a.log})
	graduationServer := graduation.NewServer(graduation.Deps{Pool: pool, Book: a.book, Now: time.Now, Caller: rpc.CallerName})
	var err error
	a.server, err = rpc.NewServer(a.log, a.tokens,
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { facilityv1.RegisterFacilityServiceServer(r, facilityServer) }, HTTP: facilityv1.RegisterFacilityServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { rosterv1.RegisterRosterServiceServer(r, rosterServer) }, HTTP: rosterv1.RegisterRosterServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { enrollmentv1.RegisterEnrollmentServiceServer(r, enrollmentServer) }, HTTP: enrollmentv1.RegisterEnrollmentServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { plannerv1.RegisterPlannerServiceServer(r, plannerServer) }, HTTP: plannerv1.RegisterPlannerServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { plannerv1.RegisterMendServiceServer(r, plannerServer) }, HTTP: plannerv1.RegisterMendServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { trainingv1.RegisterTrainingServiceServer(r, trainingServer) }, HTTP: trainingv1.RegisterTrainingServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { dayplanv1.RegisterDayPlanServiceServer(r, dayplanServer) }, HTTP: dayplanv1.RegisterDayPlanServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { readinessv1.RegisterReadinessServiceServer(r, readinessServer) }, HTTP: readinessv1.RegisterReadinessServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { dayplanv1.RegisterEveningServiceServer(r, eveningServer) }, HTTP: dayplanv1.RegisterEveningServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { daysheetv1.RegisterDaySheetServiceServer(r, daysheetServer) }, HTTP: daysheetv1.RegisterDaySheetServiceHandler, Pages: daysheetServer.Pages},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { mailv1.RegisterMailServiceServer(r, mailServer) }, HTTP: mailv1.RegisterMailServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { handoverv1.RegisterHandoverServiceServer(r, handoverServer) }, HTTP: handoverv1.RegisterHandoverServiceHandler, Pages: handoverServer.Pages},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { graduationv1.RegisterGraduationServiceServer(r, graduationServer) }, HTTP: graduationv1.RegisterGraduationServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { exchangev1.RegisterExchangeServiceServer(r, exchangeServer) }, HTTP: exchangev1.RegisterExchangeServiceHandler},
	)
	if err != nil {
		return err
	}
	a.close = append(a.close, func() { a.server.Stop(stopGrace) })
	a.conn, err = a.server.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials(token)))
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

// rosterSites and enrollmentSites hand the sites over to services that do not know the facility service.
func rosterSites(ctx context.Context, db postgres.DB) ([]roster.SiteRef, error) {
	sites, err := facility.ListSites(ctx, db)
	refs := make([]roster.SiteRef, len(sites))
	for i, s := range sites {
		refs[i] = roster.SiteRef{ID: s.ID, Code: s.Code, Zone: s.Zone}
	}
	return refs, err
}

func enrollmentSites(ctx context.Context, db postgres.DB) ([]enrollment.SiteRules, error) {
	sites, err := facility.ListSites(ctx, db)
	rules := make([]enrollment.SiteRules, len(sites))
	for i, s := range sites {
		rules[i] = enrollment.SiteRules{ID: s.ID, Code: s.Code, RabiesWaitingDays: s.RabiesWaitingDays, RequiredVaccines: s.RequiredVaccines}
	}
	return rules, err
}
