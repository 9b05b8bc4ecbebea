package planner

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

const (
	defaultPreviewSeconds = 5
	mostShifts            = 200
)

// PreviewPlacement solves a plan's month with a pin or another wish.
func (s *Server) PreviewPlacement(ctx context.Context, req *plannerv1.PreviewPlacementRequest) (*plannerv1.PreviewPlacementResponse, error) {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	w, err := s.readWhole(ctx, id)
	if err != nil {
		return nil, err
	}
	o, err := s.reopen(ctx, &w)
	if err != nil {
		if apperr.ReasonOf(err) == inputsChanged {
			err = cmp.Or(s.heldSince(ctx, &w, req.GetRequestCode()), err)
		}
		return nil, err
	}
	in := o.task.board.in
	c, err := in.caseOf(req.GetRequestCode())
	if err != nil {
		return nil, err
	}
	changed, print := in, ""
	if at := req.GetPin(); at != nil {
		pin, err := in.pinFromProto(c, at)
		if err != nil {
			return nil, err
		}
		changed = in.withPin(pin)
		if print, err = pinPrint(w.plan.Fingerprint, pin); err != nil {
			return nil, err
		}
	} else {
		wished, err := in.wishFromProto(req.GetWish())
		if err != nil {
			return nil, err
		}
		if changed, err = in.withWish(c.Request.ID, wished); err != nil {
			return nil, err
		}
	}
	p, err := newPreview(&w.plan, o, changed, c.Request.ID, req.GetPin() != nil)
	if err != nil {
		return nil, err
	}
	found, err := p.solve(ctx, time.Duration(cmp.Or(req.GetSeconds(), defaultPreviewSeconds))*time.Second)
	if err != nil {
		return nil, err
	}
	out := found.toProto()
	out.Fingerprint = print
	return out, nil
}

// heldSince says that a request is held, where that is all that has changed since a plan was drafted: then letting it go is a way to ask the plan again.
func (s *Server) heldSince(ctx context.Context, w *whole, code string) error {
	in, err := ReadInputs(ctx, s.deps.Pool, w.plan.Month)
	if err != nil {
		return nil
	}
	c, err := in.caseOf(code)
	if err != nil {
		return nil
	}
	before := in
	before.Pins = slices.DeleteFunc(slices.Clone(in.Pins), func(p Pin) bool { return p.RequestID == c.Request.ID })
	if print, err := before.Fingerprint(); err != nil || print != w.plan.Fingerprint {
		return nil
	}
	return apperr.Preconditionf("PINNED_SINCE", "%s has been held to a place since plan %d of %s was drafted: let it go to see what other places would cost with this plan, or draft the month anew", code, w.plan.Number, w.plan.Month)
}

// caseOf finds a request of the month by its code.
func (in Inputs) caseOf(code string) (enrollment.Case, error) {
	at := slices.IndexFunc(in.Cases, func(c enrollment.Case) bool { return c.Request.Code == code })
	if at < 0 {
		return enrollment.Case{}, apperr.NotFoundf("REQUEST_NOT_IN_MONTH", "no open request %q has an arrival day in %s: `longlead export requests` lists them", code, in.Month)
	}
	return in.Cases[at], nil
}

// pinFromProto reads a pin. A request has one at most.
func (in Inputs) pinFromProto(c enrollment.Case, at *plannerv1.PinAt) (Pin, error) {
	p := Pin{RequestID: c.Request.ID, RunClass: at.GetRunClass()}
	if slices.ContainsFunc(in.Pins, func(other Pin) bool { return other.RequestID == p.RequestID }) {
		return p, errPinned()
	}
	site, err := siteByCode(in.Sites, at.GetSiteCode())
	if err != nil {
		return p, err
	}
	p.SiteID = site.ID
	if p.Arrival, err = rpc.Day("pin.arrival", at.GetArrival()); err != nil {
		return p, err
	}
	if at.GetTrainerCode() != "" {
		who := slices.IndexFunc(in.Trainers, func(t roster.Trainer) bool { return t.Code == at.GetTrainerCode() })
		if who < 0 {
			return p, apperr.NotFoundf("TRAINER_UNKNOWN", "no trainer with the code %q works in these weeks: `longlead export trainers` lists them", at.GetTrainerCode())
		}
		p.TrainerID = in.Trainers[who].ID
	}
	return p, nil
}

// wishFromProto reads a wish.
func (in Inputs) wishFromProto(w *plannerv1.Wish) (out wish, err error) {
	if w.GetFirstDay() != "" || w.GetLastDay() != "" {
		if out.window, err = rpc.Days(w.GetFirstDay(), w.GetLastDay()); err != nil {
			return out, err
		}
	}
	for _, code := range w.GetSiteCodes() {
		site, err := siteByCode(in.Sites, code)
		if err != nil {
			return out, err
		}
		if !slices.Contains(out.sites, site.ID) {
			out.sites = append(out.sites, site.ID)
		}
	}
	if out.window.IsEmpty() && len(out.sites) == 0 {
		return out, apperr.InvalidField("wish", "changes nothing", "name arrival days or sites")
	}
	return out, nil
}

// PinPlacement makes a pin as it was previewed: from the same inputs, which the fingerprint shows.
func (s *Server) PinPlacement(ctx context.Context, req *plannerv1.PinPlacementRequest) (*plannerv1.PinPlacementResponse, error) {
	arrival, err := rpc.Day("pin.arrival", req.GetPin().GetArrival())
	if err != nil {
		return nil, err
	}
	var out *plannerv1.Pin
	who := s.author(ctx)
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		in, err := readInputs(ctx, tx, arrival.Month())
		if err != nil {
			return err
		}
		c, err := in.caseOf(req.GetRequestCode())
		if err != nil {
			return err
		}
		pin, err := in.pinFromProto(c, req.GetPin())
		if err != nil {
			return err
		}
		inputs, err := in.Fingerprint()
		if err != nil {
			return err
		}
		print, err := pinPrint(inputs, pin)
		if err != nil {
			return err
		}
		if print != req.GetFingerprint() {
			return apperr.Preconditionf("CHANGED_SINCE_PREVIEW", "requests, trainers, places, promises, pins or the policy have changed since the preview, or it was of another pin, so nothing was pinned: draft the month and preview it again")
		}
		record := PinRecord{ID: who.mint(), Pin: pin, Note: req.GetNote(), MadeAt: who.at, MadeBy: who.by}
		if err := insertPin(ctx, tx, record); err != nil {
			return err
		}
		out = pinToProto(record, c.Request.Code, c.Dog.Name, req.GetPin().GetSiteCode(), req.GetPin().GetTrainerCode())
		return nil
	}, postgres.Serializable())
	if err != nil {
		return nil, err
	}
	return &plannerv1.PinPlacementResponse{Pin: out}, nil
}

// Unpin ends a pin.
func (s *Server) Unpin(ctx context.Context, req *plannerv1.UnpinRequest) (*plannerv1.UnpinResponse, error) {
	var out []*plannerv1.Pin
	who := s.author(ctx)
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		requests, err := enrollment.ListRequestsByCode(ctx, tx, req.GetRequestCode())
		if err != nil {
			return err
		}
		briefs, err := enrollment.ListBriefs(ctx, tx, requests)
		if err != nil {
			return err
		}
		// The list has a dog's requests as well; a pin belongs to one request.
		briefs = slices.DeleteFunc(briefs, func(b enrollment.Brief) bool { return b.Code != req.GetRequestCode() })
		requests = requests[:0]
		for _, b := range briefs {
			requests = append(requests, b.ID)
		}
		ended, err := endPin(ctx, tx, requests, who)
		if postgres.NoRows(err) {
			return apperr.NotFoundf("PIN_UNKNOWN", "request %q is not pinned: `longlead plan pins MONTH` lists the pins", req.GetRequestCode())
		}
		if err != nil {
			return err
		}
		out, err = pinsToProto(ctx, tx, []PinRecord{ended})
		return err
	})
	if err != nil {
		return nil, err
	}
	return &plannerv1.UnpinResponse{Pin: out[0]}, nil
}

// ListPins lists the pins of a month.
func (s *Server) ListPins(ctx context.Context, req *plannerv1.ListPinsRequest) (*plannerv1.ListPinsResponse, error) {
	month, err := rpc.Month(req.GetMonth())
	if err != nil {
		return nil, err
	}
	out := &plannerv1.ListPinsResponse{}
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		pins, err := listPins(ctx, tx, month, req.GetWithEnded())
		if err != nil {
			return err
		}
		out.Pins, err = pinsToProto(ctx, tx, pins)
		return err
	})
	return out, err
}

// pinsToProto reads the names that pins point to, in a fixed number of statements.
func pinsToProto(ctx context.Context, tx postgres.Tx, pins []PinRecord) ([]*plannerv1.Pin, error) {
	requests := make([]ids.RequestID, len(pins))
	for i, p := range pins {
		requests[i] = p.RequestID
	}
	n, _, err := readBriefNames(ctx, tx, requests, nil)
	if err != nil {
		return nil, err
	}
	out := make([]*plannerv1.Pin, len(pins))
	for i, p := range pins {
		c := n.cases[p.RequestID]
		out[i] = pinToProto(p, c.Request.Code, c.Dog.Name, n.sites[p.SiteID], n.trainers[p.TrainerID])
	}
	slices.SortStableFunc(out, func(a, b *plannerv1.Pin) int {
		return firstOf(compareText(a.GetAt().GetArrival(), b.GetAt().GetArrival()), compareText(a.GetRequestCode(), b.GetRequestCode()))
	})
	return out, nil
}
