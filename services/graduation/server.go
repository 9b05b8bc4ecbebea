package graduation

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/postgres"

	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	Book *handover.Book
	Now  func() time.Time
	// Caller names who makes a call.
	Caller func(context.Context) string
}

// Server answers GraduationService.
type Server struct {
	graduationv1.UnsafeGraduationServiceServer
	deps Deps
}

var _ graduationv1.GraduationServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Book == nil || d.Now == nil || d.Caller == nil {
		panic("graduation.NewServer: all dependencies are required")
	}
	return &Server{deps: d}
}

// ArrangeHandovers finds times outside of any transaction and places each in one of its own.
func (s *Server) ArrangeHandovers(ctx context.Context, req *graduationv1.ArrangeHandoversRequest) (*graduationv1.ArrangeHandoversResponse, error) {
	month, err := calendar.ParseMonth(req.GetMonth())
	if err != nil {
		return nil, apperr.InvalidField("month", err.Error(), "write it like 2027-03")
	}
	site, err := facility.FindSite(ctx, s.deps.Pool, req.GetSiteCode())
	if err != nil {
		return nil, err
	}
	arranger := Arranger{Pool: s.deps.Pool, Book: s.deps.Book, Now: s.deps.Now}
	got, err := arranger.Arrange(ctx, site, month.Span(), s.deps.Caller(ctx), req.GetPreview())
	if err != nil {
		return nil, err
	}
	var n arrangedNames
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		n, err = readArrangedNames(ctx, tx, site, got)
		return err
	})
	if err != nil {
		return nil, err
	}
	return n.toProto(got), nil
}

// ListReminders lists when letters go.
func (s *Server) ListReminders(ctx context.Context, req *graduationv1.ListRemindersRequest) (*graduationv1.ListRemindersResponse, error) {
	now := s.deps.Now()
	out := &graduationv1.ListRemindersResponse{}
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		out.Reset()
		sites, err := sitesOf(ctx, tx, req.GetSiteCode())
		if err != nil {
			return err
		}
		for _, site := range sites {
			set, last, err := readReminders(ctx, tx, site.ID)
			if err != nil {
				return err
			}
			for _, letter := range Letters() {
				r, err := reminderToProto(site, set[letter], last[letter], now)
				if err != nil {
					return err
				}
				out.Reminders = append(out.Reminders, r)
			}
		}
		return nil
	})
	return out, err
}

// sitesOf is one site, or all of them by code.
func sitesOf(ctx context.Context, db postgres.DB, code string) ([]facility.Site, error) {
	if code != "" {
		site, err := facility.FindSite(ctx, db, code)
		return []facility.Site{site}, err
	}
	sites, err := facility.ListSites(ctx, db)
	slices.SortFunc(sites, func(a, b facility.Site) int { return strings.Compare(a.Code, b.Code) })
	return sites, err
}

// SetReminder sets when letters go.
func (s *Server) SetReminder(ctx context.Context, req *graduationv1.SetReminderRequest) (*graduationv1.SetReminderResponse, error) {
	now := s.deps.Now().UTC().Truncate(time.Microsecond)
	switch {
	case req.GetOff() && req.GetLine() != "":
		return nil, apperr.InvalidField("off", "goes with no line", "write a line, or off, not both")
	case !req.GetOff() && strings.TrimSpace(req.GetLine()) == "":
		return nil, apperr.InvalidField("line", "is missing", `write a cron line such as "30 9 * * *", or off for none`)
	}
	out := &graduationv1.SetReminderResponse{}
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		site, err := facility.FindSite(ctx, tx, req.GetSiteCode())
		if err != nil {
			return err
		}
		r := usual(site.ID, req.GetLetter())
		r.Line, r.ChangedAt, r.ChangedBy = strings.Join(strings.Fields(req.GetLine()), " "), now, s.deps.Caller(ctx)
		if req.Days != nil {
			r.Days = int(req.GetDays())
		}
		zone, err := calendar.LoadZone(site.Zone)
		if err != nil {
			return err
		}
		if err := r.check(zone); err != nil {
			return err
		}
		if err := setReminder(ctx, tx, r); err != nil {
			return err
		}
		_, last, err := readReminders(ctx, tx, site.ID)
		if err != nil {
			return err
		}
		out.Reminder, err = reminderToProto(site, r, last[r.Letter], now)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}
