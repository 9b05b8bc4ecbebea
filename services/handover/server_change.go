package handover

import (
	"context"
	"slices"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/postgres"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
)

// OfferHandover gives a stay its appointment, or adds to the times that can be chosen.
func (s *Server) OfferHandover(ctx context.Context, req *handoverv1.OfferHandoverRequest) (*handoverv1.OfferHandoverResponse, error) {
	if req.GetTime() == nil && len(req.GetOthers()) == 0 {
		return nil, apperr.InvalidField("time", "is missing", "say when the handover is, or which other times are offered")
	}
	out, word := &handoverv1.OfferHandoverResponse{}, s.word(ctx, req.GetReason())
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		o, err := s.find(ctx, tx, req.GetWhich())
		if err != nil {
			return err
		}
		times, err := s.timesFor(ctx, tx, o, PurposeHandover)
		if err != nil {
			return err
		}
		others, err := times.slots("others", req.GetOthers())
		if err != nil {
			return err
		}
		switch {
		case o.there && o.a.State.Open() && req.GetTime() != nil:
			return apperr.Preconditionf("HANDOVER_OPEN", "%s has a handover appointment already: move it, or offer other times alone.", req.GetWhich())
		case o.there && o.a.State.Open():
			o.a, err = s.deps.Book.AddOffers(ctx, tx, o.a.ID, others, word)
		case req.GetTime() == nil:
			return apperr.InvalidField("time", "is missing, and there is no appointment yet", "say when the handover is")
		default:
			slot, bad := times.slot("time", req.GetTime())
			if bad != nil {
				return bad
			}
			o.a, err = s.deps.Book.Place(ctx, tx, Placing{StayID: o.stay.ID, RequestID: o.stay.RequestID, DogID: o.stay.DogID, OwnerID: o.stay.OwnerID, SiteID: o.stay.SiteID,
				Slot: slot, Others: others, By: word.By, Why: word.Why})
		}
		if err != nil {
			return err
		}
		out.Appointment = appointmentToProto(o.a, o.names)
		out.Offers, err = s.offers(ctx, tx, o.a, o.names)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// ConfirmHandover confirms for an owner.
func (s *Server) ConfirmHandover(ctx context.Context, req *handoverv1.ConfirmHandoverRequest) (*handoverv1.ConfirmHandoverResponse, error) {
	a, err := s.change(ctx, req.GetWhich(), func(tx postgres.Tx, o *one) (Appointment, error) {
		return s.deps.Book.Confirm(ctx, tx, o.a.ID, s.word(ctx, req.GetReason()))
	})
	if err != nil {
		return nil, err
	}
	return &handoverv1.ConfirmHandoverResponse{Appointment: a}, nil
}

// MoveHandover moves an appointment.
func (s *Server) MoveHandover(ctx context.Context, req *handoverv1.MoveHandoverRequest) (*handoverv1.MoveHandoverResponse, error) {
	a, err := s.change(ctx, req.GetWhich(), func(tx postgres.Tx, o *one) (Appointment, error) {
		times, err := s.timesFor(ctx, tx, *o, o.a.Purpose)
		if err != nil {
			return o.a, err
		}
		times.usual = o.a.Slot
		times.length = o.a.Ends.Sub(o.a.Begins)
		to, err := times.slot("time", req.GetTime())
		if err != nil {
			return o.a, err
		}
		others, err := times.slots("others", req.GetOthers())
		if err != nil {
			return o.a, err
		}
		return s.deps.Book.Move(ctx, tx, o.a.ID, to, others, req.GetNotReady(), s.word(ctx, req.GetReason()))
	})
	if err != nil {
		return nil, err
	}
	return &handoverv1.MoveHandoverResponse{Appointment: a}, nil
}

// CancelHandover cancels an appointment.
func (s *Server) CancelHandover(ctx context.Context, req *handoverv1.CancelHandoverRequest) (*handoverv1.CancelHandoverResponse, error) {
	a, err := s.change(ctx, req.GetWhich(), func(tx postgres.Tx, o *one) (Appointment, error) {
		return s.deps.Book.Cancel(ctx, tx, o.a.ID, s.word(ctx, req.GetReason()))
	})
	if err != nil {
		return nil, err
	}
	return &handoverv1.CancelHandoverResponse{Appointment: a}, nil
}

// ReportLate notes that an owner will be late, and says whom it keeps waiting.
func (s *Server) ReportLate(ctx context.Context, req *handoverv1.ReportLateRequest) (*handoverv1.ReportLateResponse, error) {
	out := &handoverv1.ReportLateResponse{}
	var err error
	out.Appointment, err = s.change(ctx, req.GetWhich(), func(tx postgres.Tx, o *one) (Appointment, error) {
		a, err := s.deps.Book.Late(ctx, tx, o.a.ID, int(req.GetMinutes()), s.word(ctx, req.GetReason()))
		if err != nil {
			return a, err
		}
		next, err := ListLive(ctx, tx, a.SiteID, a.Ends, a.Ends.Add(time.Duration(a.LateMinutes)*time.Minute))
		if err != nil {
			return a, err
		}
		next = slices.DeleteFunc(next, func(n Appointment) bool { return n.TrainerID != a.TrainerID })
		n := o.names
		if n.stays, err = s.known().StaysOf(ctx, tx, requestsOf(next)); err != nil {
			return a, err
		}
		out.RunsInto = appointmentsToProto(next, n)
		return a, nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// ReportMissed notes that an owner did not come.
func (s *Server) ReportMissed(ctx context.Context, req *handoverv1.ReportMissedRequest) (*handoverv1.ReportMissedResponse, error) {
	out := &handoverv1.ReportMissedResponse{}
	var err error
	out.Appointment, err = s.change(ctx, req.GetWhich(), func(tx postgres.Tx, o *one) (Appointment, error) {
		times, err := s.timesFor(ctx, tx, *o, o.a.Purpose)
		if err != nil {
			return o.a, err
		}
		next, err := times.slots("next", req.GetNext())
		if err != nil {
			return o.a, err
		}
		a, err := s.deps.Book.Missed(ctx, tx, o.a.ID, next, s.word(ctx, req.GetReason()))
		if err != nil {
			return a, err
		}
		out.Offers, err = s.offers(ctx, tx, a, o.names)
		return a, err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// ReportHeld notes that an appointment was held, and books lessons.
func (s *Server) ReportHeld(ctx context.Context, req *handoverv1.ReportHeldRequest) (*handoverv1.ReportHeldResponse, error) {
	out := &handoverv1.ReportHeldResponse{}
	var err error
	out.Appointment, err = s.change(ctx, req.GetWhich(), func(tx postgres.Tx, o *one) (Appointment, error) {
		a, err := s.deps.Book.Held(ctx, tx, o.a.ID, s.word(ctx, req.GetReason()))
		if err != nil {
			return a, err
		}
		lessons, err := s.bookLessons(ctx, tx, *o, "lessons", req.GetLessons(), "agreed at the handover")
		out.Lessons = appointmentsToProto(lessons, o.names)
		return a, err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// BookLesson books one lesson.
func (s *Server) BookLesson(ctx context.Context, req *handoverv1.BookLessonRequest) (*handoverv1.BookLessonResponse, error) {
	out := &handoverv1.BookLessonResponse{}
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		o, err := s.find(ctx, tx, req.GetWhich())
		if err != nil {
			return err
		}
		lessons, err := s.bookLessons(ctx, tx, o, "time", []*handoverv1.Time{req.GetTime()}, req.GetReason())
		if err != nil {
			return err
		}
		out.Lesson = appointmentToProto(lessons[0], o.names)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (s *Server) bookLessons(ctx context.Context, tx postgres.Tx, o one, field string, asked []*handoverv1.Time, why string) ([]Appointment, error) {
	times, err := s.timesFor(ctx, tx, o, PurposeLesson)
	if err != nil {
		return nil, err
	}
	slots, err := times.slots(field, asked)
	if err != nil {
		return nil, err
	}
	var out []Appointment
	for _, slot := range slots {
		lesson, err := s.deps.Book.BookLesson(ctx, tx, o.stay, slot, s.word(ctx, why))
		if err != nil {
			return nil, err
		}
		out = append(out, lesson)
	}
	return out, nil
}
