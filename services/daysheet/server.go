package daysheet

import (
	"bytes"
	"context"
	"log/slog"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	Mint ids.Mint
	Now  func() time.Time
	// Caller names who makes a call, and Allows says whether they hold a permission.
	Caller func(context.Context) string
	Allows func(context.Context, accessv1.Permission) bool
	// Log gets faults of reading a feed; never its address.
	Log *slog.Logger
}

// Server answers DaySheetService.
type Server struct {
	daysheetv1.UnsafeDaySheetServiceServer
	deps Deps
}

var _ daysheetv1.DaySheetServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Mint == nil || d.Now == nil || d.Caller == nil || d.Allows == nil || d.Log == nil {
		panic("daysheet.NewServer: all dependencies are required")
	}
	return &Server{deps: d}
}

// GetDaySheet makes sheets as data.
func (s *Server) GetDaySheet(ctx context.Context, req *daysheetv1.GetDaySheetRequest) (*daysheetv1.GetDaySheetResponse, error) {
	wanted, err := selectionOf(req.GetSheets(), req.GetTrainerCode(), req.GetRow(), selection{trainers: true, rows: true})
	if err != nil {
		return nil, err
	}
	d, err := s.day(ctx, req.GetSiteCode(), req.GetDay(), wanted)
	if err != nil {
		return nil, err
	}
	return &daysheetv1.GetDaySheetResponse{Sheet: dayToProto(d)}, nil
}

// GetTrainerDay makes the sheet of a trainer at whichever site they are. A day without a plan has none, which is no error.
func (s *Server) GetTrainerDay(ctx context.Context, req *daysheetv1.GetTrainerDayRequest) (*daysheetv1.GetTrainerDayResponse, error) {
	date, err := rpc.Day("day", req.GetDay())
	if err != nil {
		return nil, err
	}
	out, got := &daysheetv1.GetTrainerDayResponse{}, (*snapshot)(nil)
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		out, got = &daysheetv1.GetTrainerDayResponse{}, nil
		trainer, site, err := dayplan.SiteOn(ctx, tx, req.GetTrainerCode(), date)
		out.TrainerName = trainer.Name
		if apperr.ReasonOf(err) == "NOT_AT_WORK" {
			out.Zone, err = homeZone(ctx, tx, trainer)
			return err
		}
		if err != nil {
			return err
		}
		out.SiteCode, out.SiteName, out.Zone = site.Code, site.Name, site.Zone
		if got, err = readSnapshot(ctx, tx, site.Code, date); apperr.ReasonOf(err) == "DAY_NOT_PLANNED" {
			err = nil
		}
		return err
	})
	if err != nil || got == nil {
		return out, err
	}
	d, err := compose(got)
	if err != nil {
		return nil, err
	}
	if !s.deps.Allows(ctx, accessv1.Permission_PERMISSION_READ_RECORDS) {
		d.withhold()
	}
	if err = (selection{trainers: true, trainer: req.GetTrainerCode()}).apply(d); apperr.ReasonOf(err) == "NO_SHEET" {
		return out, nil
	}
	out.Sheet = dayToProto(d)
	return out, err
}

// homeZone is the zone of a trainer's home site.
func homeZone(ctx context.Context, tx postgres.Tx, trainer roster.Trainer) (string, error) {
	sites, err := facility.ListSites(ctx, tx)
	for _, site := range sites {
		if site.ID == trainer.HomeSiteID {
			return site.Zone, err
		}
	}
	return "", err
}

// PrintDaySheet makes sheets for people.
func (s *Server) PrintDaySheet(ctx context.Context, req *daysheetv1.PrintDaySheetRequest) (*daysheetv1.PrintDaySheetResponse, error) {
	wanted, err := selectionOf(req.GetSheets(), req.GetTrainerCode(), req.GetRow(), selection{trainers: true})
	if err != nil {
		return nil, err
	}
	d, err := s.day(ctx, req.GetSiteCode(), req.GetDay(), wanted)
	if err != nil {
		return nil, err
	}
	p := printingOf(req)
	var out bytes.Buffer
	media := "text/plain; charset=utf-8"
	switch p.format {
	case daysheetv1.PrintDaySheetRequest_FORMAT_CSV:
		media = "text/csv; charset=utf-8"
		err = writeTable(&out, d)
	case daysheetv1.PrintDaySheetRequest_FORMAT_HTML:
		media = "text/html; charset=utf-8"
		err = writePage(&out, d, p.paper)
	default:
		writeText(&out, d)
	}
	if err != nil {
		return nil, err
	}
	return &daysheetv1.PrintDaySheetResponse{MediaType: media, Content: out.Bytes()}, nil
}

// day makes the sheets that are asked for, without contacts for callers who may not read records.
func (s *Server) day(ctx context.Context, siteCode, dayText string, wanted selection) (*Day, error) {
	date, err := rpc.Day("day", dayText)
	if err != nil {
		return nil, err
	}
	var got *snapshot
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		got, err = readSnapshot(ctx, tx, siteCode, date)
		return err
	})
	if err != nil {
		return nil, err
	}
	d, err := compose(got)
	if err != nil {
		return nil, err
	}
	if !s.deps.Allows(ctx, accessv1.Permission_PERMISSION_READ_RECORDS) {
		d.withhold()
	}
	return d, wanted.apply(d)
}
