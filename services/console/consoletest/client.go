package consoletest

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Client is a browser without scripts: it keeps cookies and follows redirects.
type Client struct {
	http *http.Client
	url  string
}

// Reply is a page as it came.
type Reply struct {
	Status int
	Header http.Header
	Body   string
	// Path is where the redirects ended.
	Path string
}

// Visitor is somebody who has not signed in.
func (s *School) Visitor(t testing.TB) *Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &Client{http: &http.Client{Jar: jar}, url: s.URL}
}

// As signs a person of a role in.
func (s *School) As(t testing.TB, role string) *Client {
	t.Helper()
	c := s.Visitor(t)
	for _, p := range People {
		if p.Role == role {
			reply := c.send(t, http.MethodPost, "/sign-in", url.Values{"login": {p.Login}, "password": {Password}, "back": {"/password"}})
			require.Equal(t, "/password", reply.Path, "%s is let in: %s", p.Login, reply.Body)
			return c
		}
	}
	t.Fatalf("nobody has the role %s", role)
	return nil
}

// Get loads a page.
func (c *Client) Get(t testing.TB, path string) Reply {
	t.Helper()
	return c.send(t, http.MethodGet, path, nil)
}

// Part loads a part of a page, as htmx does.
func (c *Client) Part(t testing.TB, path string) Reply {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, c.url+path, nil)
	require.NoError(t, err)
	req.Header.Set("HX-Request", "true")
	return c.do(t, req)
}

var tokenOnPage = regexp.MustCompile(`name="form_token" value="([0-9a-f]+)"`)

// Post sends a form from a page: the page is loaded first, and the form carries its token.
func (c *Client) Post(t testing.TB, page, path string, form url.Values) Reply {
	t.Helper()
	found := tokenOnPage.FindStringSubmatch(c.Get(t, page).Body)
	require.Len(t, found, 2, "%s has a form with a token", page)
	sent := url.Values{"form_token": {found[1]}}
	for name, values := range form {
		sent[name] = values
	}
	return c.send(t, http.MethodPost, path, sent)
}

// PostBare sends a form as it is.
func (c *Client) PostBare(t testing.TB, path string, form url.Values) Reply {
	t.Helper()
	return c.send(t, http.MethodPost, path, form)
}

// Upload sends files from a page whose form carries them.
func (c *Client) Upload(t testing.TB, page, path string, files map[string][]byte) Reply {
	t.Helper()
	found := tokenOnPage.FindStringSubmatch(c.Get(t, page).Body)
	require.Len(t, found, 2, "%s has a form with a token", page)
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	require.NoError(t, form.WriteField("form_token", found[1]))
	for name, content := range files {
		part, err := form.CreateFormFile("files", name)
		require.NoError(t, err)
		_, err = part.Write(content)
		require.NoError(t, err)
	}
	require.NoError(t, form.Close())
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, c.url+path, &body)
	require.NoError(t, err)
	req.Header.Set("Content-Type", form.FormDataContentType())
	return c.do(t, req)
}

func (c *Client) send(t testing.TB, method, path string, form url.Values) Reply {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, c.url+path, strings.NewReader(form.Encode()))
	require.NoError(t, err)
	if form != nil {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	return c.do(t, req)
}

func (c *Client) do(t testing.TB, req *http.Request) Reply {
	t.Helper()
	res, err := c.http.Do(req)
	require.NoError(t, err)
	defer func() { _ = res.Body.Close() }()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	return Reply{Status: res.StatusCode, Header: res.Header, Body: string(body), Path: res.Request.URL.Path}
}
