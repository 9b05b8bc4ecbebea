package mail_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"io"
	"log"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-msgauth/dkim"
	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
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
	server.Domain, server.AllowInsecureAuth, server.ErrorLog = "post.example", true, log.New(io.Discard, "", 0)
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

// certificate is one for localhost that a test's client trusts.
func certificate(t *testing.T) (server, client *tls.Config) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{SerialNumber: big.NewInt(1), DNSNames: []string{"post.example"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature}
	content, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	require.NoError(t, err)
	parsed, err := x509.ParseCertificate(content)
	require.NoError(t, err)
	pool := x509.NewCertPool()
	pool.AddCert(parsed)
	return &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{content}, PrivateKey: key}}}, &tls.Config{RootCAs: pool, ServerName: "post.example"}
}

// securePost is a server that asks for a name and a password and takes letters under encryption only.
type securePost struct {
	session
	signedIn bool
}

func (s *securePost) AuthMechanisms() []string { return []string{sasl.Plain} }

func (s *securePost) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != "school" || password != "right" {
			return &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8}, Message: "Wrong name or password"}
		}
		s.signedIn = true
		return nil
	}), nil
}

func (s *securePost) Mail(from string, o *smtp.MailOptions) error {
	if _, ok := s.conn.TLSConnectionState(); !ok || !s.signedIn {
		return &smtp.SMTPError{Code: 530, EnhancedCode: smtp.EnhancedCode{5, 7, 0}, Message: "Sign in first"}
	}
	return s.session.Mail(from, o)
}

// TestSecureServers: a letter goes under encryption with a password, at once or by STARTTLS; a server whose certificate is not trusted, that offers
// no encryption, or that refuses the password gets none, and the letter waits.
func TestSecureServers(t *testing.T) {
	t.Parallel()
	server, client := certificate(t)
	for name, c := range map[string]struct {
		offer    bool // STARTTLS
		implicit bool
		security mail.Security
		tls      *tls.Config
		password string
		sent     bool
		note     string
	}{
		"starttls":            {true, false, mail.StartTLS, client, "right", true, ""},
		"tls":                 {false, true, mail.TLS, client, "right", true, ""},
		"wrong password":      {true, false, mail.StartTLS, client, "wrong", false, "535 5.7.8 Wrong name or password"},
		"no encryption":       {false, false, mail.StartTLS, client, "right", false, "doesn't support STARTTLS"},
		"unknown certificate": {true, false, mail.StartTLS, &tls.Config{ServerName: "post.example"}, "right", false, "certificate"},
		"another's name":      {true, false, mail.StartTLS, &tls.Config{RootCAs: client.RootCAs, ServerName: "other.example"}, "right", false, "certificate"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o, p := newOffice(t), &postOffice{}
			o.letterhead(t)
			listener, err := net.Listen("tcp", "127.0.0.1:0")
			require.NoError(t, err)
			if c.implicit {
				listener = tls.NewListener(listener, server)
			}
			s := smtp.NewServer(smtp.BackendFunc(func(conn *smtp.Conn) (smtp.Session, error) {
				return &securePost{session: session{office: p, conn: conn}}, nil
			}))
			s.Domain, s.ErrorLog = "post.example", log.New(io.Discard, "", 0)
			if c.offer {
				s.TLSConfig = server
			}
			go func() { _ = s.Serve(listener) }()
			t.Cleanup(func() { _ = s.Close() })
			sender, err := mail.NewSMTP(mail.SMTPConfig{Addr: listener.Addr().String(), Security: c.security, User: "school", Password: c.password, TLS: c.tls})
			require.NoError(t, err)
			t.Cleanup(sender.Close)
			o.put(t, example(t, mail.HandoverInvitation, "a", 1))
			require.NoError(t, o.worker(sender).Send(t.Context(), o.only(t, "a").ID))
			k := o.only(t, "a")
			if c.sent {
				require.Equal(t, mail.Sent, k.State, k.Note)
				require.Len(t, p.all(), 1)
				return
			}
			require.Equal(t, mail.Waiting, k.State)
			require.Contains(t, k.Note, c.note)
			require.NotContains(t, k.Note, "right")
			require.Empty(t, p.all())
		})
	}
}

// TestConnectionsAreUsedAgain: many letters take few connections; one that the server has closed meanwhile costs nothing.
func TestConnectionsAreUsedAgain(t *testing.T) {
	t.Parallel()
	p := newPostOffice(t)
	s := p.over(t)
	send := func() {
		_, err := s.Send(t.Context(), mail.Outgoing{From: "a@example.org", To: "b@example.org", Content: []byte("Subject: a\r\n\r\nb\r\n.\r\n..c\r\n")})
		require.NoError(t, err)
	}
	for range 5 {
		send()
	}
	require.Equal(t, 1, p.sessions)
	addr := p.addr
	p.shut()
	p.open(t, addr)
	send()
	require.Equal(t, 2, p.sessions)
	require.Len(t, p.all(), 6)
	for _, l := range p.all() {
		require.Equal(t, "Subject: a\r\n\r\nb\r\n.\r\n..c\r\n", l.content, "lines of dots arrive as they are (RFC 5321 section 4.5.2)")
	}
	ctx, cancel := context.WithCancel(t.Context())
	p.atRecipient = func(string) *smtp.SMTPError { cancel(); time.Sleep(50 * time.Millisecond); return nil }
	_, err := s.Send(ctx, mail.Outgoing{From: "a@example.org", To: "b@example.org", Content: []byte("Subject: a\r\n\r\nb\r\n")})
	require.Error(t, err)
}

// TestServersThatCannotBe are refused when the program starts.
func TestServersThatCannotBe(t *testing.T) {
	t.Parallel()
	for says, cfg := range map[string]mail.SMTPConfig{
		"no address of a server":     {Addr: "mail.example.org", Security: mail.StartTLS},
		"smtp is no address":         {Addr: ":25", Security: mail.StartTLS},
		"password in the clear":      {Addr: "mail.example.org:25", Security: mail.Plain, User: "a", Password: "b"},
		"write starttls, tls or pla": {Addr: "mail.example.org:25", Security: "ssl"},
	} {
		_, err := mail.NewSMTP(cfg)
		require.ErrorContains(t, err, says)
		require.Equal(t, apperr.Invalid, apperr.KindOf(err))
	}
}

// TestKeysThatCannotSign are refused when the program starts, without a word of the key.
func TestKeysThatCannotSign(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	write := func(name, kind string, content []byte) string {
		file := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: content}), 0o600))
		return file
	}
	elliptical, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	curve, err := x509.MarshalPKCS8PrivateKey(elliptical)
	require.NoError(t, err)
	_, good := rsaKey(t)
	for says, c := range map[string][2]string{
		"cannot be read":              {"a.example", filepath.Join(dir, "none")},
		"no private key that can be ": {"a.example", write("broken", "PRIVATE KEY", []byte("x"))},
		"neither RSA nor Ed25519":     {"a.example", write("curve", "PRIVATE KEY", curve)},
		"needs a domain":              {"", good},
	} {
		_, err := mail.LoadSigner(c[0], "s", c[1])
		require.ErrorContains(t, err, says)
		require.Equal(t, apperr.Invalid, apperr.KindOf(err))
	}
	plain := filepath.Join(dir, "plain")
	require.NoError(t, os.WriteFile(plain, []byte("secret"), 0o600))
	_, err = mail.LoadSigner("a.example", "s", plain)
	require.ErrorContains(t, err, "no key in PEM")
	require.NotContains(t, err.Error(), "secret")
}

// TestEd25519Signatures hold by the library's own verifier, and not once a word is changed. RSA is held against a reckoning in Python.
func TestEd25519Signatures(t *testing.T) {
	t.Parallel()
	o, p := newOffice(t), newPostOffice(t)
	o.letterhead(t)
	public, private, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(t, err)
	content, err := x509.MarshalPKCS8PrivateKey(private)
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "key.pem")
	require.NoError(t, os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: content}), 0o600))
	signer, err := mail.LoadSigner("tarnholt.example", "spring", file)
	require.NoError(t, err)
	o.put(t, hard(t, mail.HandoverInvitation, "a", 1))
	require.NoError(t, o.worker(p.over(t), func(d *mail.WorkerDeps) { d.Signer = signer }).Send(t.Context(), o.only(t, "a").ID))
	message := p.all()[0].content
	verify := func(message string) error {
		found, err := dkim.VerifyWithOptions(strings.NewReader(message), &dkim.VerifyOptions{LookupTXT: func(name string) ([]string, error) {
			require.Equal(t, "spring._domainkey.tarnholt.example", name)
			return []string{"v=DKIM1; k=ed25519; p=" + base64.StdEncoding.EncodeToString(public)}, nil
		}})
		require.NoError(t, err)
		require.Len(t, found, 1)
		require.Equal(t, "tarnholt.example", found[0].Domain)
		return found[0].Err
	}
	require.NoError(t, verify(message))
	require.Error(t, verify(strings.Replace(message, "MIME-Version: 1.0", "MIME-Version: 1.0\r\nCc: eve@example.org", 1)), "a field that was absent is signed as such")
	require.Error(t, verify(message+"more\r\n"))
}
