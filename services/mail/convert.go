package mail

import (
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

// instant is absent for nil.
func instant(t *time.Time) *timestamppb.Timestamp {
	if t == nil {
		return nil
	}
	return timestamppb.New(*t)
}

func letterToProto(k Kept) *mailv1.Letter {
	_, method := k.calendar()
	l := &mailv1.Letter{Id: k.ID.String(), Key: k.Key, Kind: string(k.Kind), Version: int32(k.Version), Copy: int32(k.Copy), ToName: k.ToName, ToAddress: k.ToAddress,
		Subject: k.Subject, State: string(k.State), Note: k.Note, Attempts: int32(k.Attempts), PutAt: timestamppb.New(k.PutAt), DoneAt: instant(k.DoneAt),
		MessageId: k.MessageID, Method: method}
	if k.DoneAt == nil {
		l.NextAt = timestamppb.New(k.NextAt)
	}
	return l
}

func attemptsToProto(list []Attempt) []*mailv1.Attempt {
	var out []*mailv1.Attempt
	for _, a := range list {
		out = append(out, &mailv1.Attempt{At: timestamppb.New(a.At), Outcome: a.Outcome, Answer: a.Answer})
	}
	return out
}

func filterOf(req *mailv1.ListLettersRequest) (Filter, error) {
	f := Filter{Key: req.GetKey(), Keys: req.GetKeys(), State: State(req.GetState()), Kind: Kind(req.GetKind()), To: req.GetTo(), Limit: int(req.GetLimit())}
	if f.Limit == 0 {
		f.Limit = usualLimit
	}
	states := []State{Waiting, Sending, Sent, Superseded, Expired, Refused, Bounced}
	if f.State != "" && !slices.Contains(states, f.State) {
		var names []string
		for _, s := range states {
			names = append(names, string(s))
		}
		return f, apperr.InvalidField("state", "is none that a letter can be in", "write one of "+strings.Join(names, ", "))
	}
	if f.Kind != "" {
		if _, err := kindOf(string(f.Kind)); err != nil {
			return f, err
		}
	}
	return f, nil
}

func kindToProto(k KindInfo, saved SavedTemplate) *mailv1.LetterKind {
	out := &mailv1.LetterKind{Kind: string(k.Kind), Meaning: k.Meaning, Calendar: k.Invites}
	for _, f := range k.Fields {
		out.Fields = append(out.Fields, &mailv1.LetterField{Name: f.Name, Meaning: f.Meaning, Required: f.Required, List: f.List, Example: f.Example})
	}
	if saved.Subject != nil {
		out.SavedBy, out.SavedAt = saved.SavedBy, timestamppb.New(saved.SavedAt)
	}
	return out
}

func letterheadToProto(h Letterhead) *mailv1.Letterhead {
	out := &mailv1.Letterhead{Name: h.Name, Address: h.Address, Phone: h.Phone, QuietFrom: h.QuietFrom.String(), QuietUntil: h.QuietUntil.String(), SetBy: h.SetBy}
	if !h.SetAt.IsZero() {
		out.SetAt = timestamppb.New(h.SetAt)
	}
	return out
}

func letterheadOf(h *mailv1.Letterhead) (Letterhead, error) {
	out := ImpliedLetterhead()
	out.Name, out.Address, out.Phone = h.GetName(), h.GetAddress(), h.GetPhone()
	for _, c := range []struct {
		field, text string
		to          *calendar.Clock
	}{{"quiet_from", h.GetQuietFrom(), &out.QuietFrom}, {"quiet_until", h.GetQuietUntil(), &out.QuietUntil}} {
		if c.text == "" {
			continue
		}
		at, err := calendar.ParseClock(c.text)
		if err != nil {
			return out, apperr.InvalidField(c.field, err.Error(), "write it like 21:00")
		}
		*c.to = at
	}
	return out, nil
}
