package console_test

import (
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
	"github.com/longlead/longlead/services/postgres"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

const (
	// hostile is what breaks a page that does not escape it; worse turns the direction of reading around and holds a new line as well.
	hostile = `<script>alert(1)</script>'"&{{.}}`
	worse   = hostile + "\u202e<img src=x onerror=alert(2)>\u202c\n javascript:alert(3)"
	// hostileCode may stand before a code: files may hold codes with anything but ; | and a new line, up to 40 characters.
	hostileCode = `<b>'"&{{.}}/?#%41 `
)

// TestHostileWordsEverywhere writes hostile words into every text of the database that takes them, into codes, forms, files and addresses, and opens
// every page: nothing comes out as anything but text, and links to what has such a code lead there.
func TestHostileWordsEverywhere(t *testing.T) {
	t.Parallel()
	filled := map[string]string{}
	r := newTour(t, func(s *consoletest.School) {
		renameCodes(t, s.Pool)
		sweep(t, s.Pool, filled)
	})
	sweep(t, r.Pool, filled)
	require.Greater(t, len(filled), 50, "%v", slices.Sorted(maps.Keys(filled)))
	shown := &strings.Builder{}
	links := map[string]string{}
	look := func(reply consoletest.Reply, where string) []string {
		page := inspect(t, reply.Body, where)
		shown.WriteString(page.text)
		for _, link := range page.links {
			if strings.Contains(link, "%3Cb%3E") {
				links[shape(link)] = link
			}
		}
		return page.links
	}
	office := r.Visitor(t)
	for _, s := range r.stops() {
		in := r.manager
		if s.pattern == "owner" || s.pattern == "GET /sign-in" {
			in = office
		}
		reply := in.Get(t, s.path)
		require.Equal(t, http.StatusOK, reply.Status, "%s: %s", s.path, reply.Body)
		look(reply, s.path)
	}
	kinds, err := exchangev1.NewExchangeServiceClient(r.Conn).ListKinds(t.Context(), &exchangev1.ListKindsRequest{})
	require.NoError(t, err)
	for _, k := range kinds.GetKinds() {
		for _, link := range look(r.manager.Get(t, "/school/"+k.GetName()), k.GetName()) {
			if strings.Contains(link, "/record?key=") {
				look(r.manager.Get(t, link), link)
				break
			}
		}
		look(r.manager.Get(t, "/school/"+k.GetName()+"/record"), k.GetName())
	}
	for _, path := range hostileAddresses(t) {
		inspect(t, r.manager.Get(t, path).Body, path)
	}
	hostileForms(t, r, kinds.GetKinds())
	for _, column := range mustShow {
		require.NotEmpty(t, filled[column], column)
		assert.True(t, strings.Contains(shown.String(), filled[column]), "%s is shown, as it is", column)
	}
	require.Greater(t, len(links), 5, "%v", links)
	for _, link := range links {
		require.Equal(t, http.StatusOK, r.manager.Get(t, link).Status, "%s leads there", link)
	}
}

// mustShow are texts that people set and pages show.
var mustShow = []string{
	"enrollment.owner.name", "enrollment.owner.phone", "enrollment.dog.name", "enrollment.dog.breed", "enrollment.program.name", "enrollment.vet.name", "facility.site.name", "roster.trainer.name",
	"training.session.note", "training.skill.name", "people.person.name", "handover.appointment.gate", "handover.change.why", "mail.letter.note", "planner.pin.note", "planner.wait.reason", "planner.wait.remedy",
}

// keptWords are columns whose words mean something to the program, by why.
var keptWords = map[string]string{
	"zone": "a time zone", "vaccine": "what sites ask for", "question": "the name of a question", "term": "the name of a preference", "fingerprint": "is compared", "phase": "the program's words",
	"solver_version": "the program's words", "code": "renameCodes does", "request_code": "a code", "kind": "a kind", "key": "the program's words", "message_id": "the program's words", "domain": "of an address", "unit": "of a number",
	"email": "an address, which letters need", "to_address": "an address", "from_address": "an address", "address": "an address", "login": "what one signs in with", "password": "not shown", "state": "a state",
	"household": "those with the same come together", "resource": "the name of a resource", "required_vaccines": "what sites ask for",
}

// sweep writes hostile words into every text of the database that does not hold them yet, and tells which took what. What the database itself refuses
// is left: a state, a choice.
func sweep(t *testing.T, pool *postgres.Pool, filled map[string]string) {
	t.Helper()
	for _, c := range texts(t, pool) {
		name := c.Schema + "." + c.Table + "." + c.Column
		if keptWords[c.Column] != "" || c.Schema == "people" && c.Column != "name" {
			continue
		}
		for _, text := range []string{worse + " " + name, hostile + " " + name, hostile} {
			if took := write(t, pool, c, text); took < 0 {
				continue
			} else if took > 0 {
				filled[name] = text
			}
			break
		}
	}
}

// column is one that holds text, or texts.
type column struct{ Schema, Table, Column, Type string }

func texts(t *testing.T, pool *postgres.Pool) []column {
	t.Helper()
	rows, err := pool.Query(t.Context(), `select table_schema, table_name, column_name, data_type from information_schema.columns join information_schema.tables using (table_schema, table_name)
		where table_type = 'BASE TABLE' and table_schema not in ('public', 'pg_catalog', 'information_schema') and (data_type = 'text' or udt_name = '_text') order by 1, 2, 3`)
	require.NoError(t, err)
	var all []column
	for rows.Next() {
		var c column
		require.NoError(t, rows.Scan(&c.Schema, &c.Table, &c.Column, &c.Type))
		all = append(all, c)
	}
	require.NoError(t, rows.Err())
	require.Greater(t, len(all), 150)
	return all
}

// write puts a text into a column wherever none of ours is yet, and returns in how many rows; -1 where the database refuses it.
func write(t *testing.T, pool *postgres.Pool, c column, text string) int64 {
	t.Helper()
	at, value := `"`+c.Column+`"`, "$1::text"
	is := at
	if c.Type == "ARRAY" {
		value, is = "array[$1::text]", "array_to_string("+at+", '')"
	}
	done, err := pool.Exec(t.Context(), fmt.Sprintf(`update "%s"."%s" set %s = %s where position('<script>' in %s) = 0`, c.Schema, c.Table, at, value, is), text)
	var refused interface{ SQLState() string }
	if errors.As(err, &refused) && strings.HasPrefix(refused.SQLState(), "23") {
		return -1
	}
	require.NoError(t, err, "%v", c)
	return done.RowsAffected()
}

// renameCodes gives all codes a hostile beginning but those that the tour has in its addresses.
func renameCodes(t *testing.T, pool *postgres.Pool) {
	t.Helper()
	for table, keep := range map[string]string{"enrollment.dog": "", "enrollment.owner": "", "enrollment.request": "", "enrollment.program": "", "training.skill": "", "facility.run": "",
		"facility.site": "DRUM TARN", "facility.area": "barn-hall", "roster.trainer": "AMINA"} {
		done, err := pool.Exec(t.Context(), `update `+table+` set code = $1 || code where code <> all (string_to_array($2, ' '))`, hostileCode, keep)
		require.NoError(t, err, table)
		require.Positive(t, done.RowsAffected(), table)
	}
}

// hostileAddresses are the addresses of pages, each with something hostile in one part, and with values that pages read.
func hostileAddresses(t *testing.T) (paths []string) {
	t.Helper()
	part := regexp.MustCompile(`\{[a-z]+\}`)
	good := map[string]string{"{month}": "2027-03", "{site}": "DRUM", "{day}": consoletest.FlowDay, "{trainer}": "AMINA", "{kind}": "owners", "{login}": "ingo"}
	values := url.Values{}
	for _, name := range []string{"find", "state", "site", "from", "to", "page", "day", "with", "which", "trainer", "suspected", "starts", "reason", "order", "minutes", "log", "last", "kind", "key", "hold_scope", "gate",
		"first", "days", "correct", "by", "back", "area", "degrees", "unit", "humidity", "source", "arrival", "run_class", "month"} {
		values.Set(name, worse)
	}
	for _, pattern := range routes(t) {
		path := strings.TrimSuffix(strings.TrimPrefix(pattern, "GET "), "{$}")
		if noPage[pattern] != "" && noPage[pattern] != "leads on" {
			continue
		}
		for _, bad := range part.FindAllString(path, -1) {
			paths = append(paths, part.ReplaceAllStringFunc(path, func(name string) string {
				if name == bad || good[name] == "" {
					return url.PathEscape(worse)
				}
				return good[name]
			}))
		}
		paths = append(paths, part.ReplaceAllStringFunc(path, func(name string) string { return good[name] })+"?"+values.Encode())
	}
	return paths
}

// hostileForms sends forms and files that are refused: what was written comes back as text.
func hostileForms(t *testing.T, r *tour, kinds []*exchangev1.Kind) {
	t.Helper()
	echoed := func(reply consoletest.Reply, where string) {
		t.Helper()
		require.Equal(t, http.StatusUnprocessableEntity, reply.Status, where)
		require.Contains(t, inspect(t, reply.Body, where).text, worse, "%s: what was written is still there", where)
	}
	for _, k := range kinds {
		if k.GetName() == "stays" || k.GetName() == "sessions" || k.GetName() == "policy" {
			continue
		}
		form := url.Values{}
		for _, c := range k.GetColumns() {
			form.Set("f."+c.GetName(), worse)
		}
		path := "/school/" + k.GetName() + "/record"
		reply := r.manager.Post(t, path, path, form)
		require.Equal(t, http.StatusUnprocessableEntity, reply.Status, path)
		inspect(t, reply.Body, path)
	}
	echoed(r.manager.Post(t, "/people", "/people", url.Values{"login": {worse}, "name": {worse}, "role": {"office"}}), "a new person")
	echoed(r.manager.Post(t, "/letter-words", "/letter-words/head", url.Values{"name": {worse}, "address": {"nowhere"}, "phone": {worse}}), "the head of letters")
	echoed(r.manager.Post(t, "/letter-words/handover-day", "/letter-words/handover-day", url.Values{"do": {"preview"}, "template": {"Subject: {{.cat}} " + worse}}), "the words of a letter")
	file := "code,name,email,phone\n\"" + strings.ReplaceAll(worse, `"`, `""`) + "\",\"" + strings.ReplaceAll(worse, `"`, `""`) + "\",,\n"
	const name = `owners-<img src=x onerror=alert(1)>'"&{{.}}.csv`
	list := r.manager.Upload(t, "/import", "/import", map[string][]byte{name: []byte(file)})
	require.Eventually(t, func() bool { return strings.Contains(r.manager.Get(t, list.Path).Body, "something has to be mended") }, time.Minute, 50*time.Millisecond)
	page := inspect(t, r.manager.Get(t, list.Path).Body, "a list")
	require.Contains(t, page.text, name)
	require.Contains(t, page.text, worse)
}
