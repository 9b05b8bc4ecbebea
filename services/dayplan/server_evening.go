package dayplan

import (
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// shownDays is how many days of each site are listed when nobody says.
const shownDays = 7

// EveningServer answers EveningService.
type EveningServer struct {
	dayplanv1.UnsafeEveningServiceServer
	deps Deps
}

var _ dayplanv1.EveningServiceServer = (*EveningServer)(nil)

// NewEveningServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewEveningServer(d Deps) *EveningServer { return &EveningServer{deps: NewServer(d).deps} }

// ListEvenings reads the times and the latest days.
func (s *EveningServer) ListEvenings(ctx context.Context, req *dayplanv1.ListEveningsRequest) (*dayplanv1.ListEveningsResponse, error) {
	now := s.deps.Now()
	each := int(req.GetDays())
	if each == 0 {
		each = shownDays
	}
	out := &dayplanv1.ListEveningsResponse{}
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		out.Reset()
		sites, err := sitesOf(ctx, tx, req.GetSiteCode())
		if err != nil {
			return err
		}
		set, err := listSchedules(ctx, tx)
		if err != nil {
			return err
		}
		var only ids.SiteID
		if req.GetSiteCode() != "" {
			only = sites[0].ID
		}
		rows, err := listEvenings(ctx, tx, only, each)
		if err != nil {
			return err
		}
		for _, site := range sites {
			at, err := timeToProto(site, set[site.ID], now)
			if err != nil {
				return err
			}
			out.Times = append(out.Times, at)
			for _, row := range rows {
				if row.SiteID != site.ID {
					continue
				}
				shown, err := eveningToProto(site, row)
				if err != nil {
					return err
				}
				out.Evenings = append(out.Evenings, shown)
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

// SetEvening sets the time of a site.
func (s *EveningServer) SetEvening(ctx context.Context, req *dayplanv1.SetEveningRequest) (*dayplanv1.SetEveningResponse, error) {
	now := s.deps.Now().UTC().Truncate(time.Microsecond)
	set := Schedule{ChangedAt: now, ChangedBy: s.deps.Caller(ctx)}
	switch at, err := calendar.ParseClock(req.GetAt()); {
	case req.GetOff() && req.GetAt() != "":
		return nil, apperr.InvalidField("off", "goes with no time", "write a time, or off, not both")
	case req.GetOff():
	case err != nil:
		return nil, apperr.InvalidField("at", err.Error(), "write a local time such as 18:30, or off for none")
	default:
		set.At = &at
	}
	out := &dayplanv1.SetEveningResponse{}
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		site, err := facility.FindSite(ctx, tx, req.GetSiteCode())
		if err != nil {
			return err
		}
		set.SiteID = site.ID
		if out.Time, err = timeToProto(site, &set, now); err != nil {
			return err
		}
		return setSchedule(ctx, tx, set)
	})
	return out, err
}

func timeToProto(site facility.Site, set *Schedule, now time.Time) (*dayplanv1.EveningTime, error) {
	out := &dayplanv1.EveningTime{SiteCode: site.Code, Zone: site.Zone, Usual: set == nil}
	daily, ok, err := dailyOf(site, set)
	if set != nil {
		out.ChangedBy = set.ChangedBy
	}
	if err != nil || !ok {
		return out, err
	}
	out.At = daily.At.String()
	if next := daily.Next(now); !next.IsZero() {
		out.NextAt = timestamppb.New(next)
	}
	return out, nil
}

var outcomes = map[string]dayplanv1.Evening_Outcome{
	OutcomeWaiting: dayplanv1.Evening_OUTCOME_WAITING, OutcomePlanned: dayplanv1.Evening_OUTCOME_PLANNED, OutcomeKept: dayplanv1.Evening_OUTCOME_KEPT,
	OutcomeAsk: dayplanv1.Evening_OUTCOME_ASK, OutcomeLate: dayplanv1.Evening_OUTCOME_LATE, OutcomeFailed: dayplanv1.Evening_OUTCOME_FAILED,
}

func eveningToProto(site facility.Site, row eveningShown) (*dayplanv1.Evening, error) {
	zone, err := calendar.LoadZone(site.Zone)
	if err != nil {
		return nil, err
	}
	return &dayplanv1.Evening{SiteCode: site.Code, Day: row.Day.String(), DueAt: timestamppb.New(row.DueAt),
		Due:     calendar.DateIn(row.DueAt, zone).String() + " " + calendar.ClockIn(row.DueAt, zone).String(),
		Outcome: outcomes[row.Outcome], Note: row.Note, Attempts: int32(row.Attempts), Number: int32(row.Number)}, nil
}
