// Package frame is what every page of the console stands in: who is here and what they may do, the bar at the top, forms that only our own
// pages can send, errors in words, what came of the last step, and parts of pages that follow long work.
//
// A page is a Page: a pattern, the permission that it needs, and a function of a Visit. The function calls services over Visit.Conn with
// Visit.Context, so that the call decides what the person may do; a page that somebody may not see is refused before, and no link leads there.
// What the function returns as an error is shown as a page: it never writes one itself.
//
// Pages work without scripts wherever a form suffices. Scripts come from files of ours alone; there is none in a page.
package frame

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/rpc"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
)

// Person is who is signed in.
type Person struct {
	// Login is what they sign in with; audit trails keep it.
	Login string
	// Name is how they are called.
	Name string
	// Role is one of rpc.Roles.
	Role string
	// SiteCode is the site that they work at; may be empty.
	SiteCode string
	// TrainerCode is the trainer that they are; may be empty.
	TrainerCode string
	// MustChange says that they must choose a password of their own first.
	MustChange bool
}

// Door lets people in. Errors that are worth telling are apperr's.
type Door interface {
	// SignIn checks a password and returns the secret of a new session. from is the address that the person comes from.
	SignIn(ctx context.Context, login, password, from string) (secret string, err error)
	// Who returns the person of a session, or apperr.Unauthenticated.
	Who(ctx context.Context, secret string) (Person, error)
	// SignOut ends a session; it is no error when it has ended.
	SignOut(ctx context.Context, secret string) error
	// ChangePassword changes the password of a session's person and ends their other sessions.
	ChangePassword(ctx context.Context, secret, old, new string) error
	// Nobody reports that there is no person yet who could sign in.
	Nobody(ctx context.Context) (bool, error)
}

// Deps is what the console stands on. All fields but Secure are required.
type Deps struct {
	Door Door
	// As makes a context for calls on behalf of a person (rpc.Tokens.As).
	As  func(ctx context.Context, name, role string) (context.Context, error)
	Now func() time.Time
	Log *slog.Logger
	// Secure says that browsers reach the console over TLS only: cookies then never travel otherwise.
	Secure bool
}

// Page is one address.
type Page struct {
	// Pattern is one of http.ServeMux: "GET /month/{month}". A POST answers with Visit.Done, so that loading again repeats nothing.
	Pattern string
	// Needs is what a person must be allowed to see it; PERMISSION_UNSPECIFIED lets everybody in who is signed in.
	Needs accessv1.Permission
	// Open lets people in who are not signed in.
	Open bool
	// Serve answers.
	Serve func(*Visit) error
}

// Section is an entry of the bar at the top. It is shown to whom it is open for.
type Section struct {
	// Name is a word of the trade.
	Name string
	// Path is where it leads; the page there may send on to what the person works on.
	Path string
	// Prefixes are what the paths of its pages begin with.
	Prefixes []string
	// Needs is what a person must be allowed to see it.
	Needs accessv1.Permission
	// Roles are those for whom it is; empty for all.
	Roles []string
}

// Frame serves pages. Make it with New.
type Frame struct {
	deps     Deps
	sections []Section
	static   *static
}

// New makes a frame with the sections of its bar. It panics without a required field: the wiring is wrong.
func New(d Deps, sections []Section) *Frame {
	if d.Door == nil || d.As == nil || d.Now == nil || d.Log == nil {
		panic("frame.Deps lacks a required field")
	}
	return &Frame{deps: d, sections: sections, static: readStatic()}
}

// Mount turns pages into those of the server. The connection is for calls on behalf of whoever asks.
func (f *Frame) Mount(conn *grpc.ClientConn, pages ...Page) []rpc.Page {
	out := []rpc.Page{
		{Pattern: "GET " + staticPrefix + "{stamp}/{file}", Open: true, Serve: f.static.serve},
		{Pattern: "/", Open: true, Serve: f.nowhere},
	}
	for _, p := range pages {
		out = append(out, rpc.Page{Pattern: p.Pattern, Open: true, Serve: f.handler(conn, p)})
	}
	return out
}

// nowhere answers for paths that do not exist: a browser gets a page, a program what programs get.
func (f *Frame) nowhere(w http.ResponseWriter, r *http.Request) {
	err := apperr.NotFoundf("PATH_UNKNOWN", "There is nothing at %s. Perhaps the address was cut off, or what it led to has another name now.", r.URL.Path)
	if !strings.Contains(r.Header.Get("Accept"), "text/html") {
		rpc.WriteError(w, err)
		return
	}
	setHeaders(w.Header())
	v := &Visit{Request: r, frame: f, w: w, ctx: r.Context()}
	v.fail(err)
}

// handler lets a person in, or sends them to the door, and shows what goes wrong.
func (f *Frame) handler(conn *grpc.ClientConn, p Page) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		setHeaders(w.Header())
		v := &Visit{Conn: conn, Request: r, frame: f, w: w, ctx: r.Context()}
		if err := f.admit(v, p); err != nil {
			v.fail(err)
			return
		}
		if err := p.Serve(v); err != nil {
			v.fail(err)
		}
	}
}

// setHeaders allows what our pages need, and nothing else. The guard in front forbids all.
func setHeaders(h http.Header) {
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; manifest-src 'self'; "+
		"worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Vary", "Cookie, HX-Request")
}

// errAway says that the answer has been given already.
var errAway = errors.New("the answer has been given")
