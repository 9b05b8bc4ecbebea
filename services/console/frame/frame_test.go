package frame_test

import (
	"io"
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

func TestNobodyGetsInWithoutSigningIn(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true})
	in := s.As(t, "manager")
	page := in.Get(t, "/password")
	require.Equal(t, http.StatusOK, page.Status)
	require.Contains(t, page.Body, "Rosa Quill")

	// A form without its token, or with one of another session, changes nothing and says so.
	for name, form := range map[string]url.Values{
		"none":            {"old": {consoletest.Password}, "new": {"another long password"}, "again": {"another long password"}},
		"somebody else's": {"form_token": {"00ff"}, "old": {consoletest.Password}, "new": {"another long password"}, "again": {"another long password"}},
	} {
		reply := in.PostBare(t, "/password", form)
		require.Equal(t, http.StatusForbidden, reply.Status, name)
		require.Contains(t, reply.Body, "Nothing was changed", name)
	}
	reply := in.Post(t, "/password", "/password", url.Values{"old": {consoletest.Password}, "new": {"another long password"}, "again": {"another long password"}})
	require.Contains(t, reply.Body, "Your password is changed", "said once on the next page")
	require.NotContains(t, in.Get(t, "/password").Body, "Your password is changed")

	require.Equal(t, "/sign-in", in.Post(t, "/password", "/sign-out", nil).Path)
	require.Equal(t, "/sign-in", in.Get(t, "/password").Path, "the session is over")
}

func TestHeadersOfPages(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true})
	h := s.As(t, "viewer").Get(t, "/password").Header
	policy := h.Get("Content-Security-Policy")
	require.Contains(t, policy, "default-src 'none'")
	require.Contains(t, policy, "script-src 'self';")
	require.NotContains(t, policy, "unsafe")
	require.Equal(t, "no-store", h.Get("Cache-Control"))
	require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"))
}

func TestTheDoorInABrowser(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true})
	b := s.Browser(t, "")
	b.Judge(t, "sign-in", "/sign-in")
	b.Fill(t, "[name=login]", "rosa")
	b.Fill(t, "[name=password]", consoletest.Password)
	b.Click(t, "main button")
	b.Await(t, "she is in", `!location.pathname.startsWith("/sign-in")`)
	b.Judge(t, "password", "/password")
	// A name that turns the direction of reading leaves what stands beside it where it is: the number comes to the right of it.
	consoletest.Evaluate[bool](t, b, `document.querySelector("main").insertAdjacentHTML("beforeend", "<p id=turned><b>\u202eBELLA</b> <span>12</span></p>"); true`)
	require.True(t, consoletest.Evaluate[bool](t, b, `document.querySelector("#turned span").getBoundingClientRect().left > document.querySelector("#turned b").getBoundingClientRect().left`))
}

func TestNowhere(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true})
	for accept, kind := range map[string]string{"text/html,*/*": "text/html; charset=utf-8", "application/json": "application/json", "": "application/json"} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.URL+"/no/<b>such</b>", nil)
		require.NoError(t, err)
		req.Header.Set("Accept", accept)
		res, err := http.DefaultClient.Do(req)
		require.NoError(t, err)
		body, err := io.ReadAll(res.Body)
		require.NoError(t, err)
		require.NoError(t, res.Body.Close())
		require.Equal(t, http.StatusNotFound, res.StatusCode)
		require.Equal(t, kind, res.Header.Get("Content-Type"))
		if kind != "application/json" {
			require.NotContains(t, string(body), "<b>such")
		}
		require.Contains(t, string(body), "There is nothing at")
	}
}
