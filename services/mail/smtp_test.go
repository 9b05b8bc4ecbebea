package mail_test

import (
	"errors"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/mail"
)

// taken is a letter that a server took.
type taken struct {
	from, to, content string
}

// postOffice is a mail server in this process. Its answers to a recipient and to a letter can be chosen.
type postOffice struct {
	// atSender, atRecipient and atLetter give an answer other than 250; nil for none. hangUp ends the connection in place of the answer to a letter; with
	// keep the letter is taken all the same.
	atSender    func(from string) *smtp.SMTPError
	atRecipient func(to string) *smtp.SMTPError
	atLetter    func(content string) *smtp.SMTPError
	hangUp      func(content string) (hang, keep bool)

	mu       sync.Mutex
	letters  []taken
	sessions int
	addr     string
	server   *smtp.Server
}

func newPostOffice(t *testing.T) *postOffice {
	t.Helper()
	p := &postOffice{}
	p.open(t, "127.0.0.1:0")
	t.Cleanup(p.shut)
	return p
}

// open begins to listen; shut ends that and all connections, in whatever they are.
func (p *postOffice) open(t *testing.T, addr string) {
	t.Helper()
	var listener net.Listener
	require.Eventually(t, func() (ok bool) {
		var err error
		listener, err = net.Listen("tcp", addr)
		return err == nil
	}, patience, 5*time.Millisecond)
	server := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.sessions++
		return &session{office: p, conn: c}, nil
	}))
	server.Domain, server.AllowInsecureAuth = "post.example", true
	server.MaxLineLength = 1000 // RFC 5321 section 4.5.3.1.6: longer lines are refused
	p.mu.Lock()
	p.server, p.addr = server, listener.Addr().String()
	p.mu.Unlock()
	go func() { _ = server.Serve(listener) }()
}

func (p *postOffice) shut() {
	p.mu.Lock()
	server := p.server
	p.mu.Unlock()
	_ = server.Close()
}

func (p *postOffice) all() []taken {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]taken(nil), p.letters...)
}

type session struct {
	office   *postOffice
	conn     *smtp.Conn
	from, to string
}

func (s *session) Reset() { s.from, s.to = "", "" }

func (s *session) Logout() error { return nil }

func (s *session) Mail(from string, _ *smtp.MailOptions) error {
	s.from = from
	if s.office.atSender != nil {
		if answer := s.office.atSender(from); answer != nil {
			return answer
		}
	}
	return nil
}

func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.to = to
	if s.office.atRecipient != nil {
		if answer := s.office.atRecipient(to); answer != nil {
			return answer
		}
	}
	return nil
}

var errHungUp = errors.New("hung up")

func (s *session) Data(r io.Reader) error {
	content, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	keep := func() {
		s.office.mu.Lock()
		defer s.office.mu.Unlock()
		s.office.letters = append(s.office.letters, taken{s.from, s.to, string(content)})
	}
	if s.office.hangUp != nil {
		if hang, kept := s.office.hangUp(string(content)); hang {
			if kept {
				keep()
			}
			_ = s.conn.Conn().Close()
			return errHungUp
		}
	}
	if s.office.atLetter != nil {
		if answer := s.office.atLetter(string(content)); answer != nil {
			return answer
		}
	}
	keep()
	return nil
}

// over is a Sender to a post office.
func (p *postOffice) over(t *testing.T) *mail.SMTP {
	t.Helper()
	s, err := mail.NewSMTP(mail.SMTPConfig{Addr: p.addr, Security: mail.Plain, Hello: "school.example"})
	require.NoError(t, err)
	t.Cleanup(s.Close)
	return s
}

// TestALetterGoesOverSMTP: what the server takes is what is kept, byte by byte, and what the letter says.
func TestALetterGoesOverSMTP(t *testing.T) {
	t.Parallel()
	o, p := newOffice(t), newPostOffice(t)
	o.letterhead(t)
	o.put(t, example(t, mail.HandoverInvitation, "a", 1))
	k := o.only(t, "a")
	require.NoError(t, o.worker(p.over(t)).Send(t.Context(), k.ID))
	k = o.only(t, "a")
	require.Equal(t, mail.Sent, k.State, k.Note)
	all := p.all()
	require.Len(t, all, 1)
	require.Equal(t, "office@tarnholt.example", all[0].from)
	require.Equal(t, "freya.kahale@example.org", all[0].to)
	var content []byte
	require.NoError(t, o.pool.QueryRow(t.Context(), `select content from mail.letter`).Scan(&content))
	require.Equal(t, string(content), all[0].content)
	require.Contains(t, all[0].content, "\r\nMessage-ID: <"+k.MessageID+">\r\n")
	require.True(t, strings.HasSuffix(k.MessageID, "@tarnholt.example"))
}
