package setup_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

// TestEveryListAndItsForm opens each kind of record, its form, its template and its export.
func TestEveryListAndItsForm(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	kinds, err := exchangev1.NewExchangeServiceClient(s.Conn).ListKinds(t.Context(), &exchangev1.ListKindsRequest{})
	require.NoError(t, err)
	require.Greater(t, len(kinds.GetKinds()), 30)
	in, viewer := s.As(t, "manager"), s.As(t, "viewer")
	school := in.Get(t, "/school").Body
	for _, k := range kinds.GetKinds() {
		path := "/school/" + k.GetName()
		if k.GetName() == "policy" {
			require.Equal(t, "/school/policy", in.Get(t, path).Path)
			continue
		}
		require.Contains(t, school, `href="`+path+`"`)
		list := in.Get(t, path)
		require.Equal(t, http.StatusOK, list.Status, path)
		require.Less(t, len(list.Body), 200<<10, path)
		byHand := k.GetName() != "stays" && k.GetName() != "sessions"
		require.Equal(t, byHand, strings.Contains(list.Body, path+`/record"`), path)
		form := in.Get(t, path+"/record")
		if byHand {
			require.Equal(t, http.StatusOK, form.Status, path)
			for _, c := range k.GetColumns() {
				require.Contains(t, form.Body, `name="f.`+c.GetName()+`"`, path)
			}
		}
		require.NotContains(t, viewer.Get(t, path).Body, path+`/record"`)
		require.Equal(t, http.StatusForbidden, viewer.Get(t, path+"/record").Status, path)
		require.Equal(t, http.StatusForbidden, viewer.Post(t, "/password", path+"/record", url.Values{}).Status, path)
		require.Contains(t, in.Get(t, path+"/template?format=csv").Header.Get("Content-Disposition"), k.GetName()+".csv")
		require.Contains(t, in.Get(t, path+"/export?format=csv").Body, k.GetColumns()[0].GetName())
	}
	require.Equal(t, http.StatusNotFound, in.Get(t, "/school/cats").Status)
	require.Contains(t, in.Get(t, "/school/export").Header.Get("Content-Disposition"), "longlead.xlsx")
}

func TestARecordIsAddedAndChanged(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{})
	in := s.As(t, "office")
	form := url.Values{"f.code": {"HOSTILE"}, "f.name": {`<script>alert(1)</script>"` + "\u202Eetis"}, "f.email": {"no address"}}
	bad := in.Post(t, "/school/owners/record", "/school/owners/record", form)
	require.Equal(t, http.StatusUnprocessableEntity, bad.Status)
	require.Contains(t, bad.Body, "Is not an e-mail address")
	require.Contains(t, bad.Body, `value="&lt;script&gt;`, "what was typed is still there")
	require.NotContains(t, bad.Body, "<script>alert")
	form.Set("f.email", "a@example.org")
	require.Contains(t, in.Post(t, "/school/owners/record", "/school/owners/record", form).Body, "Kept.")
	twice := in.Post(t, "/school/owners/record", "/school/owners/record", form)
	require.Equal(t, http.StatusUnprocessableEntity, twice.Status)
	require.Contains(t, twice.Body, "There is such a record already")

	page := "/school/owners/record?key=HOSTILE"
	require.Contains(t, in.Get(t, page).Body, "&lt;script&gt;alert(1)")
	require.Contains(t, in.Post(t, page, "/school/owners/record", url.Values{"key": {"HOSTILE"}, "f.code": {"OTHER"}, "f.name": {"Ann Moor"}, "f.email": {""}}).Body, "Kept.")
	var name, mail string
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select name, email from enrollment.owner where code = 'HOSTILE'`).Scan(&name, &mail))
	require.Equal(t, []string{"Ann Moor", ""}, []string{name, mail})
	var others int
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select count(*) from enrollment.owner where code = 'OTHER'`).Scan(&others))
	require.Zero(t, others, "the key of a record does not change")
	require.Equal(t, http.StatusForbidden, in.Post(t, page, "/school/stays/record", url.Values{"f.request": {"x"}}).Status)
	require.Equal(t, http.StatusNotFound, in.Get(t, "/school/owners/record?key=NOBODY").Status)
	require.Contains(t, in.Get(t, "/school/codes?kind=owners&f.owner=hosti").Body, `<option value="HOSTILE">`)

	// What the address says stands in an empty form, as text, and changes nothing of a record that is there.
	filled := in.Get(t, `/school/vaccinations/record?f.dog=%22%3E%3Cb%3ED-7`)
	require.Contains(t, filled.Body, `value="&#34;&gt;&lt;b&gt;D-7"`)
	require.NotContains(t, in.Get(t, "/school/owners/record?key=HOSTILE&f.name=Another").Body, "Another")
}

func TestPreferencesAreSetByTheManager(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{})
	manager, office := s.As(t, "manager"), s.As(t, "office")
	require.Contains(t, office.Get(t, "/school/policy").Body, "What is worth more")
	require.NotContains(t, office.Get(t, "/school/policy").Body, "Set them")
	require.Equal(t, http.StatusForbidden, office.Post(t, "/password", "/school/policy", url.Values{"points.deposit": {"1"}}).Status)
	var term string
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select min(term) from planner.policy_term`).Scan(&term))
	bad := manager.Post(t, "/school/policy", "/school/policy", url.Values{"points." + term: {"many"}})
	require.Equal(t, http.StatusUnprocessableEntity, bad.Status)
	require.Contains(t, bad.Body, "Write a whole number of points")
	require.Contains(t, manager.Post(t, "/school/policy", "/school/policy", url.Values{"points." + term: {"77"}}).Body, "1 preference is changed")
	var points int
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select points from planner.policy_term where term = $1`, term).Scan(&points))
	require.Equal(t, 77, points)
}

func TestThePagesInABrowser(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	b := s.Browser(t, "manager")
	b.Judge(t, "school", "/school")
	b.Judge(t, "school-runs", "/school/runs")
	b.Judge(t, "school-sites", "/school/sites")
	b.Judge(t, "school-site", "/school/sites/record?key=DRUM")
	b.Judge(t, "school-policy", "/school/policy")
	b.Open(t, "/school/request-sites/record")
	b.Fill(t, `[name="f.request"]`, "M-24")
	b.Await(t, "codes are found as one types", `[...document.querySelectorAll("#f-request-codes option")].some(o => o.value === "M-240")`)
}
