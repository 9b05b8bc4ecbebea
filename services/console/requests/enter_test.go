package requests_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

// taken is a request as somebody takes it down, with an owner and a dog that are new.
func taken() url.Values {
	return url.Values{"owner.name": {"Ada Moor"}, "owner.phone": {"555 0188"}, "owner.email": {"ada@example.org"}, "owner.code": {"MOOR"},
		"dog.name": {"Zed"}, "dog.code": {"ZED"}, "dog.breed_tier": {"0"}, "dog.hound": {"no"}, "dog.sex": {"male"}, "dog.born": {"2025-01-01"}, "dog.weight_kg": {"20"},
		"dog.length_mm": {"800"}, "dog.height_mm": {"600"}, "request.code": {"R-NEW"}, "request.program": {"FIRST14"}, "request.window_first": {"2027-04-01"},
		"request.window_last": {"2027-04-20"}, "request.priority": {"3"}, "request.deposit": {"no"}, "travel.DRUM": {"35"}}
}

func TestTakingARequestDown(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{})
	in := s.As(t, "office")
	count := func() (n int) {
		require.NoError(t, s.Pool.QueryRow(t.Context(), `select (select count(*) from enrollment.owner where code like 'MOOR%') + (select count(*) from enrollment.dog where code like 'ZED%')
			+ (select count(*) from enrollment.request where code like 'R-NEW%')`).Scan(&n))
		return n
	}
	for name, tt := range map[string]struct {
		change url.Values
		want   string
	}{
		"a dog that cannot be":       {url.Values{"dog.born": {"2031-01-01"}}, "before the dog was born"},
		"no address":                 {url.Values{"owner.email": {"at home"}}, "Is not an e-mail address"},
		"a window that ends before":  {url.Values{"request.window_last": {"2027-03-01"}}, "Is before the first arrival day"},
		"no program of that name":    {url.Values{"request.program": {"NONE"}}, "Is not among the programs"},
		"no site":                    {url.Values{"travel.DRUM": {""}}, "No site is named"},
		"travel that is none":        {url.Values{"travel.DRUM": {"far"}}, "Is not a whole number"},
		"a code that somebody has":   {url.Values{"owner.code": {"O-001"}}, "The code O-001 is taken already"},
		"a dog's code that is taken": {url.Values{"dog.code": {"D-001"}}, "The code D-001 is taken already"},
		"an unknown owner":           {url.Values{"known_owner": {"NOBODY"}}, "Is not among the owners"},
		"nothing at all":             {url.Values{"owner.name": {""}, "dog.name": {""}, "request.program": {""}}, "Has no value"},
	} {
		form := taken()
		for field, value := range tt.change {
			form[field] = value
		}
		page := in.Post(t, "/requests/new", "/requests/new", form)
		require.Equal(t, http.StatusUnprocessableEntity, page.Status, name)
		require.Contains(t, page.Body, tt.want, name)
		require.Contains(t, page.Body, `value="2027-04-01"`, "%s: what was typed is still there", name)
		require.Zero(t, count(), "%s: nothing is half done", name)
	}
	page := in.Post(t, "/requests/new", "/requests/new", taken())
	require.Equal(t, "/request/R-NEW", page.Path)
	require.Contains(t, page.Body, "Zed</bdi> and <bdi>Ada Moor")
	require.Contains(t, page.Body, "No month plan has looked at it yet")
	require.Equal(t, 3, count())
	again := taken()
	again.Set("owner.code", "")
	again.Set("dog.code", "")
	again.Set("request.code", "")
	again.Set("known_owner", "MOOR")
	page = in.Post(t, "/requests/new", "/requests/new", again)
	require.True(t, strings.HasPrefix(page.Path, "/request/R-2702-"), page.Path)
	require.Equal(t, http.StatusForbidden, s.As(t, "viewer").Post(t, "/password", "/requests/new", taken()).Status)
	require.Equal(t, http.StatusForbidden, s.As(t, "trainer").Post(t, "/password", "/requests/new", taken()).Status)
}

func TestChangingAndWithdrawing(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	in, path := s.As(t, "office"), "/request/"+waiting(t, s)
	state := func() (state, note string, priority int) {
		require.NoError(t, s.Pool.QueryRow(t.Context(), `select state, note, priority from enrollment.request where code = $1`, strings.TrimPrefix(path, "/request/")).Scan(&state, &note, &priority))
		return state, note, priority
	}
	form := url.Values{"request.program": {"FIRST14"}, "request.window_first": {"2027-04-01"}, "request.window_last": {"2027-04-20"}, "request.wished": {"2027-05-01"},
		"request.priority": {"1"}, "request.deposit": {"yes"}, "request.note": {"<b>rings</b> at noon"}}
	bad := in.Post(t, path, path, form)
	require.Equal(t, http.StatusUnprocessableEntity, bad.Status)
	require.Contains(t, bad.Body, "Is outside of the arrival window")
	_, note, _ := state()
	require.Empty(t, note, "nothing is half done")
	form.Set("request.wished", "2027-04-02")
	require.Contains(t, in.Post(t, path, path, form).Body, "The request is changed")
	now, note, priority := state()
	require.Equal(t, []any{"open", "<b>rings</b> at noon", 1}, []any{now, note, priority})
	require.Contains(t, in.Get(t, path).Body, "&lt;b&gt;rings&lt;/b&gt; at noon")
	require.Contains(t, in.Get(t, path).Body, "It leaves the wait list", "what it does is said first")
	require.Contains(t, in.Post(t, path, path+"/withdraw", nil).Body, "The request is withdrawn")
	now, _, _ = state()
	require.Equal(t, "withdrawn", now)
	require.Contains(t, in.Post(t, path, path+"/open", nil).Body, "on the list again")
	now, _, _ = state()
	require.Equal(t, "open", now)

	viewer := s.As(t, "viewer")
	require.NotContains(t, viewer.Get(t, path).Body, "Withdraw")
	for _, step := range []string{"", "/withdraw", "/open", "/site"} {
		require.Equal(t, http.StatusForbidden, viewer.Post(t, "/password", path+step, url.Values{}).Status, step)
	}
	require.Equal(t, http.StatusNotFound, in.Get(t, "/request/NOBODY").Status)
}

// TestHostileNames puts what could break a page into every name that the pages show.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	hostile := `<script>alert(1)</script>"'><img src=x onerror=alert(2)>` + "\u202Eetis" + strings.Repeat("W", 140)
	code := waiting(t, s)
	for _, sql := range []string{
		`update enrollment.dog set name = $2 where id = (select dog_id from enrollment.request where code = $1)`,
		`update enrollment.owner set name = $2, email = $2, phone = $2 where id = (select d.owner_id from enrollment.request r join enrollment.dog d on d.id = r.dog_id where r.code = $1)`,
		`update enrollment.request set note = $2, household = $2 where code = $1`,
	} {
		_, err := s.Pool.Exec(t.Context(), sql, code, hostile)
		require.NoError(t, err)
	}
	in := s.As(t, "manager")
	for _, path := range []string{"/requests", "/request/" + code, "/requests?find=" + url.QueryEscape(hostile[:60])} {
		body := in.Get(t, path).Body
		require.Contains(t, body, "&lt;script&gt;alert(1)", path)
		require.NotContains(t, body, "<script>alert", path)
		require.NotContains(t, body, "<img", path)
	}
	b := s.Browser(t, "manager")
	b.Size(t, 360, 740)
	for name, path := range map[string]string{"requests-hostile-360": "/requests", "request-hostile-360": "/request/" + code} {
		b.Open(t, path)
		b.JudgeHere(t, name, 360)
	}
}
