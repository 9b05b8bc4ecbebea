package requests_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

func TestTheListForEachRole(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	for role, may := range map[string]bool{"manager": true, "site-lead": true, "office": true, "viewer": false} {
		in := s.As(t, role)
		page := in.Get(t, "/requests")
		require.Equal(t, http.StatusOK, page.Status, role)
		require.Contains(t, page.Body, "Who waits, and for what", role)
		require.Equal(t, may, contains(page, "/requests/new"), role)
		require.Equal(t, may, contains(page, `href="/import"`), role)
		for _, path := range []string{"/requests/new", "/import"} {
			want := http.StatusForbidden
			if may {
				want = http.StatusOK
			}
			require.Equal(t, want, in.Get(t, path).Status, "%s %s", role, path)
		}
	}
	require.NotContains(t, s.As(t, "trainer").Get(t, "/password").Body, ">Requests<", "it is not a trainer's page")
}

func contains(r consoletest.Reply, text string) bool {
	return strings.Contains(r.Body, text)
}

func TestFindingRequests(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	in := s.As(t, "office")
	page := in.Get(t, "/requests?find=F-001")
	require.Contains(t, page.Body, "Freya Kahale")
	require.Contains(t, page.Body, "F-001")
	require.NotContains(t, page.Body, "F-002")
	require.Contains(t, in.Get(t, "/requests?find="+url.QueryEscape("555-0121")).Body, "Rafael Sandoval", "by telephone")
	none := in.Get(t, "/requests?find="+url.QueryEscape(`<script>alert(1)</script>`))
	require.Contains(t, none.Body, "Nothing is found")
	require.NotContains(t, none.Body, "<script>alert")
	require.Equal(t, http.StatusUnprocessableEntity, in.Get(t, "/requests?site=MOON").Status)
	require.Equal(t, http.StatusOK, in.Get(t, "/requests?page=-7").Status)
	require.Equal(t, http.StatusOK, in.Get(t, "/requests?page=99999999999").Status)
}
