package handover

import (
	"context"
	"log/slog"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	Book *Book
	// Caller names who makes a call.
	Caller func(context.Context) string
	// PublicURL is the address under which owners reach this server, such as https://dogs.example.com.
	PublicURL string
	// Log gets faults of making a page; never its address.
	Log *slog.Logger
}

// Server answers HandoverService and serves the owners' page.
type Server struct {
	handoverv1.UnsafeHandoverServiceServer
	deps Deps
}

var _ handoverv1.HandoverServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Book == nil || d.Caller == nil || d.PublicURL == "" || d.Log == nil {
		panic("handover.NewServer: all dependencies are required")
	}
	return &Server{deps: d}
}

func (s *Server) known() Known { return s.deps.Book.deps.Known }

func (s *Server) word(ctx context.Context, why string) Word {
	return Word{By: s.deps.Caller(ctx), Why: why}
}

// ListHandovers lists a site's appointments.
func (s *Server) ListHandovers(ctx context.Context, req *handoverv1.ListHandoversRequest) (*handoverv1.ListHandoversResponse, error) {
	days, err := rpc.Days(req.GetFirstDay(), req.GetLastDay())
	if err != nil {
		return nil, err
	}
	out := &handoverv1.ListHandoversResponse{}
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		n, err := s.known().readNames(ctx, tx, nil)
		if err != nil {
			return err
		}
		site, err := n.site(req.GetSiteCode())
		if err != nil {
			return err
		}
		from, to, err := boundsOf(site, days)
		if err != nil {
			return err
		}
		list := ListLive
		if req.GetWithEnded() {
			list = ListAll
		}
		all, err := list(ctx, tx, site.ID, from, to)
		if err != nil {
			return err
		}
		if n.stays, err = s.known().StaysOf(ctx, tx, requestsOf(all)); err != nil {
			return err
		}
		out.Appointments = appointmentsToProto(all, n)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// boundsOf are the instants at which days begin and end at a site.
func boundsOf(site SiteRef, days calendar.Span) (from, to time.Time, err error) {
	zone, err := calendar.LoadZone(site.Zone)
	if err != nil {
		return from, to, err
	}
	if from, _, err = calendar.DayBounds(days.From, zone); err != nil {
		return from, to, err
	}
	to, _, err = calendar.DayBounds(days.To, zone)
	return from, to, err
}

func requestsOf(all []Appointment) []ids.RequestID {
	out := make([]ids.RequestID, len(all))
	for i, a := range all {
		out[i] = a.RequestID
	}
	return out
}

// one is an appointment that a call is about, or a stay that has none yet.
type one struct {
	a     Appointment
	there bool
	stay  StayRef
	names names
}

// find finds what a call is about.
func (s *Server) find(ctx context.Context, db postgres.DB, which string) (o one, err error) {
	if id, bad := ids.Parse[ids.AppointmentID](which); bad == nil {
		if o.a, err = Find(ctx, db, id); err != nil {
			return o, err
		}
		o.there = true
		if o.names, err = s.known().readNames(ctx, db, []ids.RequestID{o.a.RequestID}); err != nil {
			return o, err
		}
		o.stay = o.names.stays[o.a.RequestID]
		return o, nil
	}
	if o.stay, err = s.known().StayOf(ctx, db, which); err != nil {
		return o, err
	}
	if o.names, err = s.known().readNames(ctx, db, []ids.RequestID{o.stay.RequestID}); err != nil {
		return o, err
	}
	o.a, o.there, err = OfRequest(ctx, db, o.stay.RequestID)
	return o, err
}

// findThere is find for what must have an appointment.
func (s *Server) findThere(ctx context.Context, db postgres.DB, which string) (one, error) {
	o, err := s.find(ctx, db, which)
	if err == nil && !o.there {
		err = apperr.NotFoundf("HANDOVER_UNKNOWN", "%s has no handover appointment yet: `longlead handover offer %s --at TIME` makes one", which, which)
	}
	return o, err
}

// change runs a change of an appointment in a transaction of its own.
func (s *Server) change(ctx context.Context, which string, do func(tx postgres.Tx, o *one) (Appointment, error)) (*handoverv1.Appointment, error) {
	var out *handoverv1.Appointment
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		o, err := s.findThere(ctx, tx, which)
		if err != nil {
			return err
		}
		if o.a, err = do(tx, &o); err != nil {
			return err
		}
		out = appointmentToProto(o.a, o.names)
		return nil
	})
	return out, err
}

// ReadHandover reads all of an appointment.
func (s *Server) ReadHandover(ctx context.Context, req *handoverv1.ReadHandoverRequest) (*handoverv1.ReadHandoverResponse, error) {
	out := &handoverv1.ReadHandoverResponse{}
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		o, err := s.findThere(ctx, tx, req.GetWhich())
		if err != nil {
			return err
		}
		all, err := ListOf(ctx, tx, []ids.RequestID{o.a.RequestID})
		if err != nil {
			return err
		}
		var lessons []Appointment
		for _, a := range all {
			if a.Purpose == PurposeLesson && a.ID != o.a.ID {
				lessons = append(lessons, a)
			}
		}
		changes, err := ListChanges(ctx, tx, []ids.AppointmentID{o.a.ID})
		if err != nil {
			return err
		}
		links, err := listLinks(ctx, tx, o.a.RequestID)
		if err != nil {
			return err
		}
		out.Appointment, out.Lessons = appointmentToProto(o.a, o.names), appointmentsToProto(lessons, o.names)
		out.Changes, out.Links = changesToProto(changes, o.names), linksToProto(links)
		out.Offers, err = s.offers(ctx, tx, o.a, o.names)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// offers are the times that an owner may choose now.
func (s *Server) offers(ctx context.Context, db postgres.DB, a Appointment, n names) ([]*handoverv1.Slot, error) {
	offers, err := s.deps.Book.FreeOffers(ctx, db, a)
	var out []*handoverv1.Slot
	for _, o := range offers {
		out = append(out, slotToProto(o.Slot, n, n.sites[a.SiteID]))
	}
	return out, err
}

// MakeLink makes a private link, and tells its address this once.
func (s *Server) MakeLink(ctx context.Context, req *handoverv1.MakeLinkRequest) (*handoverv1.MakeLinkResponse, error) {
	out := &handoverv1.MakeLinkResponse{}
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		o, err := s.findThere(ctx, tx, req.GetWhich())
		if err != nil {
			return err
		}
		token, link, err := s.deps.Book.MakeLink(ctx, tx, o.a, s.deps.Caller(ctx))
		out.Link, out.Url = linkToProto(link), LinkURL(s.deps.PublicURL, token)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// ShutLinks shuts the links of a stay.
func (s *Server) ShutLinks(ctx context.Context, req *handoverv1.ShutLinksRequest) (*handoverv1.ShutLinksResponse, error) {
	out := &handoverv1.ShutLinksResponse{}
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		o, err := s.findThere(ctx, tx, req.GetWhich())
		if err != nil {
			return err
		}
		if err := shutLinks(ctx, tx, o.a.RequestID, s.deps.Caller(ctx), s.deps.Book.now()); err != nil {
			return err
		}
		links, err := listLinks(ctx, tx, o.a.RequestID)
		out.Links = linksToProto(links)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}
