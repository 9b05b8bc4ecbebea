package frame

import (
	"net"
	"net/http"
	"strings"
)

const noticeCookie = "longlead-notice"

// sessionName is the cookie of the session. The prefix makes browsers keep it to this host and to TLS.
func (f *Frame) sessionName() string {
	if f.deps.Secure {
		return "__Host-longlead"
	}
	return "longlead"
}

func (f *Frame) sessionOf(r *http.Request) string {
	c, err := r.Cookie(f.sessionName())
	if err != nil {
		return ""
	}
	return c.Value
}

// setCookie sets a cookie that no script can read. A life of 0 seconds ends with the browser, one below 0 at once.
func (f *Frame) setCookie(w http.ResponseWriter, name, value string, seconds int) {
	http.SetCookie(w, &http.Cookie{Name: name, Value: value, Path: "/", MaxAge: seconds, HttpOnly: true, Secure: f.deps.Secure, SameSite: http.SameSiteLaxMode})
}

func (f *Frame) forget(w http.ResponseWriter) { f.setCookie(w, f.sessionName(), "", -1) }

// SignIn checks a password and lets the person in from the next page on.
func (v *Visit) SignIn(login, password string) error {
	secret, err := v.frame.deps.Door.SignIn(v.Request.Context(), login, password, v.address())
	if err != nil {
		return err
	}
	v.frame.setCookie(v.w, v.frame.sessionName(), secret, 0)
	return nil
}

// SignOut ends the session.
func (v *Visit) SignOut() error {
	if err := v.frame.deps.Door.SignOut(v.Request.Context(), v.secret); err != nil {
		return err
	}
	v.w.Header().Set("Clear-Site-Data", `"cache", "storage"`)
	v.frame.forget(v.w)
	return nil
}

// ChangePassword changes the person's own password.
func (v *Visit) ChangePassword(old, new string) error {
	return v.frame.deps.Door.ChangePassword(v.Request.Context(), v.secret, old, new)
}

// Nobody reports that there is no person yet who could sign in.
func (v *Visit) Nobody() (bool, error) { return v.frame.deps.Door.Nobody(v.Request.Context()) }

// address is where the visitor comes from, for counting failed attempts. Behind a proxy on this machine it is what the proxy says last.
func (v *Visit) address() string {
	host, _, err := net.SplitHostPort(v.Request.RemoteAddr)
	if err != nil {
		return v.Request.RemoteAddr
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsLoopback() {
		if told := v.Request.Header.Values("X-Forwarded-For"); len(told) > 0 {
			parts := strings.Split(told[len(told)-1], ",")
			return strings.TrimSpace(parts[len(parts)-1])
		}
	}
	return host
}
