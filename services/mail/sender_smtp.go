package mail

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"github.com/longlead/longlead/services/apperr"
)

// Security is how a connection to a mail server is kept private.
type Security string

// The kinds of security. Plain is for a server on this machine.
const (
	StartTLS Security = "starttls"
	TLS      Security = "tls"
	Plain    Security = "plain"
)

// SMTPConfig says which server takes letters.
type SMTPConfig struct {
	// Addr is host:port.
	Addr     string
	Security Security
	// User and Password are empty where the server asks for none.
	User, Password string
	// Hello is the name that this machine gives itself; empty means its host name.
	Hello string
	// TLS adjusts encryption; nil is right but for tests.
	TLS *tls.Config
}

const (
	dialTimeout    = 20 * time.Second
	commandTimeout = 30 * time.Second
	// answerTimeout is for the answer after a letter. RFC 5321 section 4.5.3.2.6 asks for ten minutes; a job has less, and a letter whose answer is
	// late is sent again with the same Message-ID.
	answerTimeout = 60 * time.Second
	// restAtMost is for how long a connection may rest before another one is made.
	restAtMost = 10 * time.Second
	// mostResting is how many connections may rest.
	mostResting = JobsAtOnce
)

// SMTP is a Sender that hands letters to a mail server. It is safe for concurrent use.
type SMTP struct {
	cfg  SMTPConfig
	rest chan *connection
}

type connection struct {
	*smtp.Client
	raw   net.Conn
	since time.Time
}

func (c *connection) shut() { _ = c.raw.Close() }

// NewSMTP checks the configuration. It connects when there is a letter.
func NewSMTP(cfg SMTPConfig) (*SMTP, error) {
	host, port, err := net.SplitHostPort(cfg.Addr)
	if err != nil || host == "" || port == "" {
		return nil, apperr.InvalidField("smtp", "is no address of a server", "write host and port, such as mail.example.org:587")
	}
	switch cfg.Security {
	case StartTLS, TLS:
	case Plain:
		if ip := net.ParseIP(host); cfg.User != "" && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			return nil, apperr.InvalidField("smtp-security", "would send a password in the clear", "use starttls or tls")
		}
	default:
		return nil, apperr.InvalidField("smtp-security", fmt.Sprintf("is %q", cfg.Security), "write starttls, tls or plain")
	}
	if cfg.Hello == "" {
		cfg.Hello, _ = os.Hostname()
	}
	if cfg.Hello == "" || strings.ContainsAny(cfg.Hello, " \r\n") {
		cfg.Hello = "localhost"
	}
	if cfg.TLS == nil {
		cfg.TLS = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	if cfg.TLS.ServerName == "" {
		cfg.TLS = cfg.TLS.Clone()
		cfg.TLS.ServerName = host
	}
	return &SMTP{cfg: cfg, rest: make(chan *connection, mostResting)}, nil
}

// Reaches is true: a letter is with its owner in a moment.
func (s *SMTP) Reaches() bool { return true }

// Close ends the connections that rest.
func (s *SMTP) Close() {
	for {
		select {
		case c := <-s.rest:
			_ = c.Quit()
			c.shut()
		default:
			return
		}
	}
}

// Send hands a letter to the server. Only what the server says of this recipient or this letter is final; what it has against us may be mended.
func (s *SMTP) Send(ctx context.Context, m Outgoing) (string, error) {
	c, rested, err := s.connection(ctx)
	if err != nil {
		return "", err
	}
	answer, began, err := s.hand(ctx, c, m)
	if err != nil && rested && !began && !answered(err) && ctx.Err() == nil {
		// The server had closed a connection that rested; nothing of the letter had gone.
		c.shut()
		if c, err = s.dial(ctx); err != nil {
			return "", err
		}
		answer, _, err = s.hand(ctx, c, m)
	}
	s.put(c, err)
	return answer, err
}

// connection takes one that rests, or makes one.
func (s *SMTP) connection(ctx context.Context) (c *connection, rested bool, err error) {
	for {
		select {
		case c := <-s.rest:
			if time.Since(c.since) < restAtMost {
				return c, true, nil
			}
			c.shut()
		default:
			c, err := s.dial(ctx)
			return c, false, err
		}
	}
}

// put lets a connection rest that can be used again.
func (s *SMTP) put(c *connection, err error) {
	if err != nil && (!answered(err) || c.Reset() != nil) {
		c.shut()
		return
	}
	c.since = time.Now()
	select {
	case s.rest <- c:
	default:
		_ = c.Quit()
		c.shut()
	}
}

func (s *SMTP) dial(ctx context.Context) (*connection, error) {
	dialer := net.Dialer{Timeout: dialTimeout}
	raw, err := dialer.DialContext(ctx, "tcp", s.cfg.Addr)
	if err != nil {
		return nil, fmt.Errorf("reach the mail server: %w", err)
	}
	stop := context.AfterFunc(ctx, func() { _ = raw.Close() })
	defer stop()
	_ = raw.SetDeadline(time.Now().Add(commandTimeout))
	c := &connection{raw: raw}
	switch s.cfg.Security {
	case StartTLS:
		c.Client, err = smtp.NewClientStartTLS(raw, s.cfg.TLS)
	case TLS:
		c.Client = smtp.NewClient(tls.Client(raw, s.cfg.TLS))
	default:
		c.Client = smtp.NewClient(raw)
	}
	if err == nil {
		c.CommandTimeout, c.SubmissionTimeout = commandTimeout, answerTimeout
		err = s.greet(c)
	}
	if err != nil {
		c.shut()
		return nil, refusal("greet the mail server", err, false)
	}
	return c, nil
}

// greet says hello and signs in.
func (s *SMTP) greet(c *connection) error {
	if s.cfg.Security != StartTLS { // with it, hello is said already
		if err := c.Hello(s.cfg.Hello); err != nil {
			return err
		}
	}
	if s.cfg.User == "" {
		return nil
	}
	var how sasl.Client = sasl.NewPlainClient("", s.cfg.User, s.cfg.Password)
	if !c.SupportsAuth(sasl.Plain) && c.SupportsAuth(sasl.Login) {
		how = sasl.NewLoginClient(s.cfg.User, s.cfg.Password)
	}
	return c.Auth(how)
}

// hand hands a letter over. began says that parts of it may have gone.
func (s *SMTP) hand(ctx context.Context, c *connection, m Outgoing) (answer string, began bool, err error) {
	stop := context.AfterFunc(ctx, c.shut)
	defer stop()
	if err := c.Mail(m.From, nil); err != nil {
		return "", false, refusal("name the sender", err, false)
	}
	if err := c.Rcpt(m.To, nil); err != nil {
		return "", false, refusal("name the recipient", err, true)
	}
	w, err := c.Data()
	if err != nil {
		return "", false, refusal("begin the letter", err, true)
	}
	if _, err = w.Write(m.Content); err != nil {
		return "", true, fmt.Errorf("write the letter: %w", err)
	}
	said, err := w.CloseWithResponse()
	if err != nil {
		return "", true, refusal("end the letter", err, true)
	}
	return "250 " + oneLine(said.StatusText), true, nil
}

// refusal turns what a server said into a Refusal. aboutLetter says that it was about the recipient or the letter, so that a 5xx is final.
func refusal(doing string, err error, aboutLetter bool) error {
	said, ok := errors.AsType[*smtp.SMTPError](err)
	if !ok {
		return fmt.Errorf("%s: %w", doing, err)
	}
	answer := fmt.Sprintf("%d ", said.Code)
	if e := said.EnhancedCode; e != smtp.EnhancedCodeNotSet && e != smtp.NoEnhancedCode {
		answer += fmt.Sprintf("%d.%d.%d ", e[0], e[1], e[2])
	}
	answer += oneLine(said.Message)
	return &Refusal{Final: aboutLetter && said.Code >= 500 && said.Code != 503, Answer: strings.TrimSpace(answer)}
}

// answered reports whether a server answered, so that the connection is in order.
func answered(err error) bool {
	r, ok := errors.AsType[*Refusal](err)
	return ok && r != nil && !strings.HasPrefix(r.Answer, "421")
}
