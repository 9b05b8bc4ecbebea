package mail

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool   *postgres.Pool
	Outbox *Outbox
	Mint   ids.Mint
	Now    func() time.Time
	// Caller names who makes a call.
	Caller func(context.Context) string
}

// Server answers MailService.
type Server struct {
	mailv1.UnsafeMailServiceServer
	deps Deps
}

var _ mailv1.MailServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Outbox == nil || d.Mint == nil || d.Now == nil || d.Caller == nil {
		panic("mail.NewServer: all dependencies are required")
	}
	return &Server{deps: d}
}

func (s *Server) now() time.Time { return s.deps.Now().UTC().Truncate(time.Microsecond) }

// usualLimit is how many letters a list has where nobody says.
const usualLimit = 100

// ListLetters lists letters.
func (s *Server) ListLetters(ctx context.Context, req *mailv1.ListLettersRequest) (*mailv1.ListLettersResponse, error) {
	f, err := filterOf(req)
	if err != nil {
		return nil, err
	}
	var (
		letters []Kept
		counts  map[State]int
	)
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if letters, err = List(ctx, tx, f); err != nil {
			return err
		}
		counts, err = countStates(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &mailv1.ListLettersResponse{Counts: map[string]int32{}}
	for _, k := range letters {
		out.Letters = append(out.Letters, letterToProto(k))
	}
	for state, n := range counts {
		out.Counts[string(state)] = int32(n)
	}
	return out, nil
}

func letterID(text string) (ids.LetterID, error) {
	id, err := ids.Parse[ids.LetterID](text)
	if err != nil {
		return id, apperr.InvalidField("letter_id", err.Error(), "take it from the list of letters")
	}
	return id, nil
}

// ReadLetter reads a letter.
func (s *Server) ReadLetter(ctx context.Context, req *mailv1.ReadLetterRequest) (*mailv1.ReadLetterResponse, error) {
	id, err := letterID(req.GetLetterId())
	if err != nil {
		return nil, err
	}
	out := &mailv1.ReadLetterResponse{}
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		k, err := find(ctx, tx, id, false)
		if err != nil {
			return err
		}
		attempts, err := listAttempts(ctx, tx, id)
		if err != nil {
			return err
		}
		content, err := findContent(ctx, tx, id)
		calendar, _ := k.calendar()
		out = &mailv1.ReadLetterResponse{Letter: letterToProto(k), Text: k.BodyText, Html: k.BodyHTML, Calendar: calendar, Attempts: attemptsToProto(attempts), Content: content}
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// ResendLetter sends a letter again.
func (s *Server) ResendLetter(ctx context.Context, req *mailv1.ResendLetterRequest) (*mailv1.ResendLetterResponse, error) {
	id, err := letterID(req.GetLetterId())
	if err != nil {
		return nil, err
	}
	if to := req.GetToAddress(); to != "" {
		if fault := plainAddress(to); fault != "" {
			return nil, apperr.InvalidField("to_address", fault, "write an address such as freya@example.org")
		}
	}
	fresh := ids.LetterID(s.deps.Mint())
	var k Kept
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		old, err := find(ctx, tx, id, true)
		if err != nil {
			return err
		}
		if k, err = again(old, req.GetToAddress()); err != nil {
			return err
		}
		if k.Copy, err = lastCopy(ctx, tx, old); err != nil {
			return err
		}
		head, err := findLetterhead(ctx, tx)
		if err != nil {
			return err
		}
		now := s.now()
		k.Copy++
		k.ID, k.MessageID, k.FromName, k.FromAddress = fresh, messageID(fresh, head.Address), head.Name, head.Address
		k.PutAt, k.DueAt, k.NextAt, k.QueuedAt = now, now, now, now
		if k.Calendar != nil {
			changed := readdress(*k.Calendar, k.from(), k.to())
			k.Calendar = &changed
		}
		if err := s.deps.Outbox.insert(ctx, tx, []Kept{k}, now); err != nil {
			return err
		}
		if k, err = find(ctx, tx, fresh, false); err == nil && k.State == Superseded {
			err = apperr.Preconditionf("LETTER_OUTDATED", "There is a newer letter about the same thing: send that one again. `longlead mail list --about %s` lists them.", k.Key)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return &mailv1.ResendLetterResponse{Letter: letterToProto(k)}, nil
}

// again is a letter with the same words, perhaps to another address.
func again(old Kept, to string) (Kept, error) {
	switch old.State {
	case Waiting, Sending:
		return Kept{}, apperr.Preconditionf("LETTER_ON_ITS_WAY", "Letter %s is still on its way: %s.", old.ID, joinNotes("it is "+string(old.State), old.Note))
	case Superseded, Expired:
		return Kept{}, apperr.Preconditionf("LETTER_OUTDATED", "Letter %s is out of date: %s.", old.ID, joinNotes("it is "+string(old.State), old.Note))
	}
	k := old
	if to != "" {
		k.ToAddress = to
	} else if fault := plainAddress(old.ToAddress); fault != "" {
		return Kept{}, apperr.Preconditionf("ADDRESS_UNUSABLE", "The address of letter %s %s: give another one.", old.ID, fault)
	}
	k.Domain = domainOf(k.ToAddress)
	k.State, k.Note, k.Attempts, k.ExpiresAt = Waiting, "", 0, nil
	k.TakenAt, k.SlotAt, k.DatedAt, k.SupersededAt, k.DoneAt = nil, nil, nil, nil, nil
	return k, nil
}

// readdress puts another organizer and attendee into a calendar part.
func readdress(content string, from, to Address) string {
	var w calendarWriter
	for _, line := range strings.Split(strings.TrimSuffix(strings.ReplaceAll(content, "\r\n ", ""), "\r\n"), "\r\n") {
		name, value, _ := strings.Cut(line, ":")
		switch { // parameters may hold a colon, so these are written anew
		case strings.HasPrefix(name, "ORGANIZER"):
			name, value = "ORGANIZER"+commonName(from.Name), "mailto:"+mailto(from.Addr)
		case strings.HasPrefix(name, "ATTENDEE"):
			name, value = "ATTENDEE"+commonName(to.Name)+";CUTYPE=INDIVIDUAL;ROLE=REQ-PARTICIPANT;PARTSTAT=NEEDS-ACTION;RSVP=FALSE", "mailto:"+mailto(to.Addr)
		}
		w.line(name, value)
	}
	return w.out.String()
}

// RecordBounce notes what a delivery report says.
func (s *Server) RecordBounce(ctx context.Context, req *mailv1.RecordBounceRequest) (*mailv1.RecordBounceResponse, error) {
	reports, err := ParseReports(req.GetContent())
	if err != nil {
		return nil, err
	}
	out := &mailv1.RecordBounceResponse{}
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		k, ok, err := findByMessageID(ctx, tx, reports[0].MessageID)
		if err != nil {
			return err
		}
		if !ok {
			return apperr.NotFoundf("LETTER_UNKNOWN", "The report is about no letter of this school: nothing was noted.")
		}
		r, err := about(reports, k)
		if err != nil {
			return err
		}
		now := s.now()
		outcome := outcomes[r.Action]
		if err := noteAttempt(ctx, tx, k.ID, Attempt{now, outcome, r.words()}); err != nil {
			return err
		}
		if outcome == "bounced" && k.State == Sent {
			k.end(Bounced, r.note(), now)
			if err := keepState(ctx, tx, k); err != nil {
				return err
			}
		}
		out = &mailv1.RecordBounceResponse{Letter: letterToProto(k), Outcome: outcome, Answer: r.words()}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// kindOf finds the kind that a request names.
func kindOf(name string) (KindInfo, error) {
	kind, err := info(Kind(name))
	if err != nil {
		return kind, apperr.InvalidField("kind", fmt.Sprintf("%q is no kind of letter", name), "write one of "+strings.Join(kindNames(), ", "))
	}
	return kind, nil
}

func kindNames() []string {
	var names []string
	for _, k := range Kinds() {
		names = append(names, string(k.Kind))
	}
	return names
}
