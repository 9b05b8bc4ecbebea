package requests_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

func TestThePagesInABrowser(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	b := s.Browser(t, "office")
	b.Judge(t, "requests", "/requests")
	b.Judge(t, "requests-all", "/requests?state=")
	b.Judge(t, "request", "/request/"+waiting(t, s))
	b.Judge(t, "request-promised", "/request/F-001")
	b.Judge(t, "request-new", "/requests/new")
	b.Judge(t, "import", "/import")
	ImportWithMending(t, s, b)
}

// ImportWithMending sends a list with faults, mends it on the page, and takes it; what the page shows is held against the database at each step.
func ImportWithMending(t *testing.T, s *consoletest.School, b *consoletest.Browser) {
	t.Helper()
	count := func() (n int) {
		require.NoError(t, s.Pool.QueryRow(t.Context(), `select count(*) from enrollment.owner where code like 'MEND-%'`).Scan(&n))
		return n
	}
	b.Open(t, "/import")
	sendFiles(t, b, map[string]string{"owners-new.csv": "code,name,email,phone\nMEND-1,Ann Moor,,\nMEND-2,,,\nMEND-3,Cy Fell,cy at home,\nMEND-4,Di Tarn,,\n"})
	b.Click(t, "form.card button")
	b.Await(t, "the faults are shown", `document.querySelectorAll("tr.faulty").length === 2`)
	require.Contains(t, b.Text(t, "h1"), "something has to be mended")
	require.Contains(t, b.Text(t, "tr.why"), "Has no value")
	require.Zero(t, count(), "nothing was taken")
	b.JudgeHere(t, "import-faults-1280", 1280)
	b.Fill(t, `input[aria-label="name of line 3"]`, "Bo Ghyll")
	b.Click(t, `button[value="check"]`)
	b.Await(t, "one fault is left", `document.querySelectorAll("tr.faulty").length === 1`)
	require.Contains(t, b.Text(t, ".lead"), "1 cell is mended here")
	b.Fill(t, `input[aria-label="email of line 4"]`, "cy@example.org")
	b.Click(t, `button[value="take"]`)
	b.Await(t, "it is taken", `document.querySelector("h1").innerText === "Taken"`)
	require.Equal(t, "4", b.Text(t, "dl.figures dd"))
	require.Equal(t, 4, count())
	var name, mail string
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select max(name) filter (where code = 'MEND-2'), max(email) filter (where code = 'MEND-3') from enrollment.owner`).Scan(&name, &mail))
	require.Equal(t, []string{"Bo Ghyll", "cy@example.org"}, []string{name, mail})
}

// sendFiles chooses files as a person does.
func sendFiles(t *testing.T, b *consoletest.Browser, files map[string]string) {
	t.Helper()
	var script strings.Builder
	script.WriteString("{const all = new DataTransfer();")
	for name, content := range files {
		fmt.Fprintf(&script, "all.items.add(new File([%q], %q));", content, name)
	}
	script.WriteString(`document.querySelector("input[type=file]").files = all.files; true}`)
	require.True(t, consoletest.Evaluate[bool](t, b, script.String()))
}

// waiting is a request that has no promise.
func waiting(t *testing.T, s *consoletest.School) (code string) {
	t.Helper()
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select code from enrollment.request r where state = 'open'
		and not exists (select from planner.stay s where s.request_id = r.id) order by asked_on, code limit 1`).Scan(&code))
	return code
}
