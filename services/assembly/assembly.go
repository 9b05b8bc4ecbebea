// Package assembly puts all services together in one process: what each needs of the others, their servers behind one edge, the pages beside
// them, and the workers of their jobs. The program and the tests of the whole start from it.
package assembly

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/console"
	"github.com/longlead/longlead/services/console/frame"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/daysheet"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/graduation"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/people"
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
	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// Deps is what the services stand on. All fields but Door and Secure are required.
type Deps struct {
	Pool *postgres.Pool
	// Jobs inserts jobs.
	Jobs *jobs.Client
	// Tokens knows the callers.
	Tokens *rpc.Tokens
	Log    *slog.Logger
	Now    func() time.Time
	// PublicURL is the address under which owners reach the server.
	PublicURL string
	// Door lets people in to the console; without it there is no console.
	Door frame.Door
	// Secure says that the console is reached over TLS only.
	Secure bool
}

// School is all services in one process. Make it with New, end it with Server.Stop.
type School struct {
	// Server answers in process, and serves ports.
	Server *rpc.Server
	// Outbox takes letters to owners.
	Outbox *mail.Outbox
	// Book keeps appointments with owners.
	Book *handover.Book
	deps Deps
}

// New makes the servers of all services. It works on no job.
func New(d Deps) (*School, error) {
	if d.Pool == nil || d.Jobs == nil || d.Tokens == nil || d.Log == nil || d.Now == nil {
		return nil, errors.New("assembly.Deps lacks a required field")
	}
	s := &School{deps: d, Outbox: mail.NewOutbox(mail.OutboxDeps{Jobs: d.Jobs, Mint: ids.NewMint(), Now: d.Now})}
	s.Book = handover.NewBook(handover.BookDeps{Mint: ids.NewMint(), Now: d.Now, Known: planner.HandoverKnown(), Fits: graduation.Fits,
		Changed: graduation.Teller{Outbox: s.Outbox, Jobs: d.Jobs, PublicURL: d.PublicURL}.Changed})
	services := append(s.leaves(), s.above()...)
	if d.Door != nil {
		pages := console.New(frame.Deps{Door: d.Door, As: d.Tokens.As, Now: d.Now, Log: d.Log, Secure: d.Secure})
		services = append(services, rpc.Register{Pages: pages.Pages})
	}
	var err error
	if s.Server, err = rpc.NewServer(d.Log, d.Tokens, services...); err != nil {
		return nil, fmt.Errorf("put the services together: %w", err)
	}
	return s, nil
}

// leaves are the services that know no other, and the exchange of their records.
func (s *School) leaves() []rpc.Register {
	pool, mint, now := s.deps.Pool, ids.NewMint(), s.deps.Now
	places := facility.NewServer(facility.Deps{Pool: pool, Mint: mint})
	staff := roster.NewServer(roster.Deps{Pool: pool, Mint: mint, Sites: rosterSites})
	dogs := enrollment.NewServer(enrollment.Deps{Pool: pool, Mint: mint, Now: now, Caller: rpc.CallerName, Sites: enrollmentSites, Promised: planner.ListPromisedRequests})
	files := exchange.NewServer(exchange.Deps{Pool: pool, Mint: mint, Now: now, Caller: rpc.CallerName, Ports: Ports()})
	logs := training.NewServer(training.Deps{Pool: pool, Now: now, Caller: rpc.CallerName, Known: planner.TrainingKnown()})
	letters := mail.NewServer(mail.Deps{Pool: pool, Outbox: s.Outbox, Mint: mint, Now: now, Caller: rpc.CallerName})
	handovers := handover.NewServer(handover.Deps{Pool: pool, Book: s.Book, Caller: rpc.CallerName, PublicURL: s.deps.PublicURL, Log: s.deps.Log})
	logins := people.NewServer(people.Deps{Pool: pool, Mint: mint, Now: now, Caller: rpc.CallerName, Sites: siteCodes, Trainers: trainerCodes})
	return []rpc.Register{
		{GRPC: func(r grpc.ServiceRegistrar) { peoplev1.RegisterPeopleServiceServer(r, logins) }, HTTP: peoplev1.RegisterPeopleServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { facilityv1.RegisterFacilityServiceServer(r, places) }, HTTP: facilityv1.RegisterFacilityServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { rosterv1.RegisterRosterServiceServer(r, staff) }, HTTP: rosterv1.RegisterRosterServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { enrollmentv1.RegisterEnrollmentServiceServer(r, dogs) }, HTTP: enrollmentv1.RegisterEnrollmentServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { exchangev1.RegisterExchangeServiceServer(r, files) }, HTTP: exchangev1.RegisterExchangeServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { trainingv1.RegisterTrainingServiceServer(r, logs) }, HTTP: trainingv1.RegisterTrainingServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { mailv1.RegisterMailServiceServer(r, letters) }, HTTP: mailv1.RegisterMailServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { handoverv1.RegisterHandoverServiceServer(r, handovers) }, HTTP: handoverv1.RegisterHandoverServiceHandler, Pages: handovers.Pages},
	}
}

// above are the services that bring together what the leaves know.
func (s *School) above() []rpc.Register {
	pool, mint, now := s.deps.Pool, ids.NewMint(), s.deps.Now
	plans := planner.NewServer(planner.Deps{Pool: pool, Mint: mint, Now: now, Jobs: s.deps.Jobs, Caller: rpc.CallerName, Sites: rosterSites, Areas: dayplan.ListAreaUse})
	days := dayplan.NewServer(dayplan.Deps{Pool: pool, Mint: mint, Now: now, Caller: rpc.CallerName})
	evenings := dayplan.NewEveningServer(dayplan.Deps{Pool: pool, Mint: mint, Now: now, Caller: rpc.CallerName})
	ready := readiness.NewServer(readiness.Deps{Pool: pool, Now: now, Caller: rpc.CallerName})
	sheets := daysheet.NewServer(daysheet.Deps{Pool: pool, Mint: mint, Now: now, Caller: rpc.CallerName, Allows: rpc.Allows, Log: s.deps.Log})
	graduates := graduation.NewServer(graduation.Deps{Pool: pool, Book: s.Book, Now: now, Caller: rpc.CallerName})
	return []rpc.Register{
		{GRPC: func(r grpc.ServiceRegistrar) { plannerv1.RegisterPlannerServiceServer(r, plans) }, HTTP: plannerv1.RegisterPlannerServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { plannerv1.RegisterMendServiceServer(r, plans) }, HTTP: plannerv1.RegisterMendServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { plannerv1.RegisterStandingServiceServer(r, plans) }, HTTP: plannerv1.RegisterStandingServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { dayplanv1.RegisterDayPlanServiceServer(r, days) }, HTTP: dayplanv1.RegisterDayPlanServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { dayplanv1.RegisterEveningServiceServer(r, evenings) }, HTTP: dayplanv1.RegisterEveningServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { readinessv1.RegisterReadinessServiceServer(r, ready) }, HTTP: readinessv1.RegisterReadinessServiceHandler},
		{GRPC: func(r grpc.ServiceRegistrar) { daysheetv1.RegisterDaySheetServiceServer(r, sheets) }, HTTP: daysheetv1.RegisterDaySheetServiceHandler, Pages: sheets.Pages},
		{GRPC: func(r grpc.ServiceRegistrar) { graduationv1.RegisterGraduationServiceServer(r, graduates) }, HTTP: graduationv1.RegisterGraduationServiceHandler},
	}
}

// Work is what a process works on.
type Work struct {
	// Stays says that the process stays: only then does it plan days by their schedule and look after handovers. Any process may have to insert
	// the looks for those.
	Stays bool
	// Letters says how letters to owners are sent; without a Sender none is. What it needs beside comes from Deps.
	Letters mail.WorkerDeps
}

// Worker makes the client that works on the jobs of all services; the caller starts and stops it.
func (s *School) Worker(w Work) (*jobs.Client, error) {
	d, workers := s.deps, jobs.NewWorkers()
	planner.NewWorker(d.Pool, d.Jobs, d.Log).Register(workers)
	dayplan.NewEvenings(dayplan.EveningsDeps{Pool: d.Pool, Jobs: d.Jobs, Mint: ids.NewMint(), Now: d.Now, Log: d.Log}).Register(workers)
	s.letterWorker(w.Letters).Register(workers)
	queues := map[string]int{planner.Queue: planner.JobsAtOnce(d.Pool), jobs.DefaultQueue: 2}
	if w.Stays {
		queues[dayplan.Queue], queues[graduation.Queue] = dayplan.JobsAtOnce, graduation.JobsAtOnce
	}
	if w.Letters.Sender != nil {
		queues[mail.Queue] = mail.JobsAtOnce
	}
	graduation.NewLooks(graduation.LooksDeps{Pool: d.Pool, Book: s.Book, Outbox: s.Outbox, Now: d.Now, Log: d.Log, PublicURL: d.PublicURL}).Register(workers)
	periodic := slices.Concat(dayplan.Periodic(), mail.Periodic(), graduation.Periodic())
	client, err := jobs.New(d.Pool, workers, jobs.Config{Queues: queues, Periodic: periodic, Logger: d.Log, StopSoftly: time.Second})
	if err != nil {
		return nil, fmt.Errorf("set up the worker: %w", err)
	}
	return client, nil
}

// letterWorker sends letters. In a process that sends none it is there all the same, so that the kinds of job are known.
func (s *School) letterWorker(d mail.WorkerDeps) *mail.Worker {
	d.Pool, d.Jobs, d.Now, d.Log = s.deps.Pool, s.deps.Jobs, s.deps.Now, s.deps.Log
	if d.Sender == nil {
		d.Sender = noSender{}
	}
	return mail.NewWorker(d)
}

// noSender is for processes that work on no letters.
type noSender struct{}

func (noSender) Send(context.Context, mail.Outgoing) (string, error) {
	return "", errors.New("this process sends no letters")
}

func (noSender) Reaches() bool { return true }

// Ports are all kinds of record in import order.
func Ports() []records.Port {
	return slices.Concat(facility.Ports(), roster.Ports(rosterSites), enrollment.Ports(enrollmentSites), planner.Ports(), training.Ports(planner.TrainingKnown()),
		handover.Ports(planner.HandoverKnown()), graduation.Ports())
}
