// Package door lets people in and out of the console, and has their own password and the first page.
package door

import (
	"embed"
	"net/http"
	"net/url"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/frame"
)

//go:embed templates/*.html
var files embed.FS

var (
	signInPage   = frame.Parse(files, "templates/sign_in.html")
	passwordPage = frame.Parse(files, "templates/password.html")
)

// Pages are the addresses of the door.
func Pages() []frame.Page {
	return []frame.Page{
		{Pattern: "GET /{$}", Serve: first},
		{Pattern: "GET /sign-in", Open: true, Serve: showSignIn},
		{Pattern: "POST /sign-in", Open: true, Serve: signIn},
		{Pattern: "POST /sign-out", Serve: signOut},
		{Pattern: "GET /password", Serve: showPassword},
		{Pattern: "POST /password", Serve: changePassword},
	}
}

// firstPages is where each role's work begins.
var firstPages = map[string]string{"manager": "/month", "site-lead": "/today", "office": "/requests", "trainer": "/rounds", "viewer": "/month"}

func first(v *frame.Visit) error {
	path, ok := firstPages[v.Person.Role]
	if !ok {
		path = "/password"
	}
	return v.To(path)
}

// signInView is what the sign-in page shows.
type signInView struct {
	Back, Login string
	Nobody      bool
	Trouble     *frame.Trouble
}

func showSignIn(v *frame.Visit) error {
	nobody, err := v.Nobody()
	if err != nil {
		return err
	}
	return v.Show(signInPage, signInView{Back: ownPath(v.Query("back")), Nobody: nobody})
}

func signIn(v *frame.Visit) error {
	view := signInView{Back: ownPath(v.Form("back")), Login: v.Form("login")}
	err := v.SignIn(view.Login, v.Request.PostFormValue("password"))
	if err == nil {
		return v.To(view.Back)
	}
	t, ok := frame.Mendable(err)
	held := t.Reason == "SIGN_IN_HELD" || t.Reason == "SIGN_IN_BUSY"
	if held {
		t.Status = http.StatusTooManyRequests
	}
	if !ok && !held && t.Status != http.StatusUnauthorized {
		return err
	}
	view.Trouble = t
	return v.ShowAs(t.Status, signInPage, view)
}

// ownPath keeps to paths of this server: a link to the sign-in page must not lead elsewhere.
func ownPath(path string) string {
	u, err := url.Parse(path)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") || strings.ContainsAny(path, "\\\n\r\t") {
		return "/"
	}
	return path
}

func signOut(v *frame.Visit) error {
	if err := v.SignOut(); err != nil {
		return err
	}
	return v.To("/sign-in")
}

// passwordView is what the page of one's own password shows.
type passwordView struct {
	Must    bool
	Trouble *frame.Trouble
}

func showPassword(v *frame.Visit) error {
	return v.Show(passwordPage, passwordView{Must: v.Person.MustChange})
}

func changePassword(v *frame.Visit) error {
	fresh, err := v.Request.PostFormValue("new"), error(nil)
	if fresh == v.Request.PostFormValue("again") {
		err = v.ChangePassword(v.Request.PostFormValue("old"), fresh)
	} else {
		err = apperr.Invalidf("PASSWORDS_DIFFER", "The new password was not written alike both times.")
	}
	if t, ok := frame.Mendable(err); ok {
		return v.ShowAs(t.Status, passwordPage, passwordView{Must: v.Person.MustChange, Trouble: t})
	}
	if err != nil {
		return err
	}
	return v.Done("/password", "Your password is changed; other visits of yours have ended.")
}
