package frame

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/rpc"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
)

// tokenField is the name of the field of a form that shows that it stands on a page of ours.
const tokenField = "form_token"

// TokenHeader is the header that carries the same for what scripts send.
const TokenHeader = "X-Form-Token"

// mostForm is the largest form in bytes; files have a limit of their own.
const mostForm = 64 << 20

// Visit is one request for a page by one person.
type Visit struct {
	// Conn is for calls; use Context with them.
	Conn *grpc.ClientConn
	// Request is what was asked for.
	Request *http.Request
	// Person is who asks; empty on pages that are open.
	Person Person

	frame  *Frame
	w      http.ResponseWriter
	ctx    context.Context
	secret string
}

// admit finds out who asks, refuses what they may not see, and forms that are not from a page of theirs.
func (f *Frame) admit(v *Visit, p Page) error {
	if p.Open {
		return nil
	}
	v.secret = f.sessionOf(v.Request)
	person, err := f.deps.Door.Who(v.Request.Context(), v.secret)
	if apperr.KindOf(err) == apperr.Unauthenticated {
		f.forget(v.w)
		v.toDoor()
		return errAway
	}
	if err != nil {
		return err
	}
	v.Person = person
	if v.ctx, err = f.deps.As(v.Request.Context(), person.Login, person.Role); err != nil {
		return err
	}
	if person.MustChange && !strings.HasPrefix(v.Request.URL.Path, "/password") && v.Request.URL.Path != "/sign-out" {
		http.Redirect(v.w, v.Request, "/password", http.StatusSeeOther)
		return errAway
	}
	if p.Needs != accessv1.Permission_PERMISSION_UNSPECIFIED && !v.May(p.Needs) {
		return apperr.Deniedf("PERMISSION_MISSING", "This page is not for the role %s. Ask the operations manager if you need it.", strings.ReplaceAll(person.Role, "-", " "))
	}
	if v.Request.Method == http.MethodPost {
		return v.checkToken()
	}
	return nil
}

// toDoor sends a visitor to sign in, and afterwards back. A part of a page makes the whole page go there.
func (v *Visit) toDoor() {
	back := v.Request.URL.RequestURI()
	if v.Request.Method != http.MethodGet {
		back = "/"
	}
	to := "/sign-in?" + url.Values{"back": {back}}.Encode()
	switch {
	case v.IsPart():
		v.w.Header().Set("HX-Redirect", "/sign-in")
		v.w.WriteHeader(http.StatusUnauthorized)
	case v.Request.Header.Get(TokenHeader) != "":
		http.Error(v.w, "sign in again", http.StatusUnauthorized)
	default:
		http.Redirect(v.w, v.Request, to, http.StatusSeeOther)
	}
}

// Context is for calls on behalf of the person.
func (v *Visit) Context() context.Context { return v.ctx }

// May reports whether the person's role holds a permission. It is for what a page shows; calls decide for themselves.
func (v *Visit) May(p accessv1.Permission) bool {
	return slices.Contains(rpc.PermissionsOf(v.Person.Role), p)
}

// Now is the instant of the console's clock.
func (v *Visit) Now() time.Time { return v.frame.deps.Now() }

// Path returns a part of the path by its name in the pattern.
func (v *Visit) Path(name string) string { return v.Request.PathValue(name) }

// Query returns a value of the address, without spaces around it.
func (v *Visit) Query(name string) string { return strings.TrimSpace(v.Request.URL.Query().Get(name)) }

// Form returns a value of the form that was sent, without spaces around it.
func (v *Visit) Form(name string) string { return strings.TrimSpace(v.Request.PostFormValue(name)) }

// IsPart reports that the page in the browser asks for a part of itself: answer with Visit.Part.
func (v *Visit) IsPart() bool {
	h := v.Request.Header
	return h.Get("HX-Request") == "true" && h.Get("HX-Boosted") != "true" && h.Get("HX-History-Restore-Request") != "true"
}

// Token is what forms of this session carry. It says nothing about the session's secret.
func (v *Visit) Token() string {
	if v.secret == "" {
		return ""
	}
	mac := hmac.New(sha256.New, []byte(v.secret))
	mac.Write([]byte("form"))
	return hex.EncodeToString(mac.Sum(nil))
}

func (v *Visit) checkToken() error {
	v.Request.Body = http.MaxBytesReader(v.w, v.Request.Body, mostForm)
	sent := v.Request.Header.Get(TokenHeader)
	if sent == "" {
		if err := v.readForm(); err != nil {
			return apperr.Invalidf("FORM_UNREADABLE", "What was sent cannot be read, or is larger than %d MB.", mostForm>>20)
		}
		sent = v.Request.PostFormValue(tokenField)
	}
	if !hmac.Equal([]byte(sent), []byte(v.Token())) {
		return apperr.Deniedf("FORM_FOREIGN", "This form is not from a page of this visit, or you have signed in anew since. Go back, load the page again and send it once more. Nothing was changed.")
	}
	return nil
}

func (v *Visit) readForm() error {
	if strings.HasPrefix(v.Request.Header.Get("Content-Type"), "multipart/form-data") {
		return v.Request.ParseMultipartForm(8 << 20)
	}
	return v.Request.ParseForm()
}

// Done ends a step that changed something: it sends the browser on to a page, which shows the words once.
func (v *Visit) Done(path, words string) error {
	if words != "" {
		v.frame.setCookie(v.w, noticeCookie, base64.RawURLEncoding.EncodeToString([]byte(words)), 60)
	}
	if v.IsPart() {
		v.w.Header().Set("HX-Redirect", path)
		v.w.WriteHeader(http.StatusNoContent)
		return nil
	}
	http.Redirect(v.w, v.Request, path, http.StatusSeeOther)
	return nil
}

// To sends the browser to another page without having changed anything.
func (v *Visit) To(path string) error {
	http.Redirect(v.w, v.Request, path, http.StatusSeeOther)
	return nil
}

// notice is what the last step has said, shown once.
func (v *Visit) notice() string {
	c, err := v.Request.Cookie(noticeCookie)
	if err != nil {
		return ""
	}
	v.frame.setCookie(v.w, noticeCookie, "", -1)
	words, err := base64.RawURLEncoding.DecodeString(c.Value)
	if err != nil {
		return ""
	}
	return strings.ToValidUTF8(string(words), "")
}

// Writer is for answers that are no pages, such as files; set their type first.
func (v *Visit) Writer() http.ResponseWriter { return v.w }
