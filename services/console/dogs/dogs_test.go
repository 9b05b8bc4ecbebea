package dogs_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

// here is a dog that is at a site on the day of the tests, and how long its stay is.
func here(t *testing.T, s *consoletest.School) (code, graduation string) {
	t.Helper()
	require.NoError(t, s.Pool.QueryRow(t.Context(), `
		select d.code, upper(s.nights)::text from planner.stay s join enrollment.request r on r.id = s.request_id join enrollment.dog d on d.id = r.dog_id
		where s.state = 'in residence' and s.nights @> '2027-02-22'::date
		order by (select count(*) from training.session l where l.dog_id = d.id) desc, d.code limit 1`).Scan(&code, &graduation))
	return code, graduation
}

func TestADogForEachRole(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	code, _ := here(t, s)
	var phone string
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select o.phone from enrollment.dog d join enrollment.owner o on o.id = d.owner_id where d.code = $1`, code).Scan(&phone))
	require.NotEmpty(t, phone)
	for role, may := range map[string]struct{ mend, call bool }{"manager": {true, true}, "site-lead": {true, true}, "office": {false, true}, "trainer": {false, false}, "viewer": {false, false}} {
		in := s.As(t, role)
		page := in.Get(t, "/dog/"+code)
		require.Equal(t, http.StatusOK, page.Status, role)
		require.Contains(t, page.Body, "Ready on graduation day?", role)
		require.Equal(t, may.mend, strings.Contains(page.Body, "/extend"), role)
		require.Equal(t, may.call, strings.Contains(page.Body, phone), role)
		status := map[bool]int{true: http.StatusOK, false: http.StatusForbidden}[may.mend]
		require.Equal(t, status, in.Get(t, "/dog/"+code+"/extend").Status, role)
		require.Equal(t, status, in.Get(t, "/dog/"+code+"/isolate").Status, role)
	}
	require.Equal(t, http.StatusNotFound, s.As(t, "manager").Get(t, "/dog/NOBODY").Status)
}

func TestCautionsComeFirst(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	code, _ := here(t, s)
	_, err := s.Pool.Exec(t.Context(), `insert into enrollment.bite (dog_id, day, level, note) select id, '2026-05-05', '3b', 'at the <gate>' from enrollment.dog where code = $1`, code)
	require.NoError(t, err)
	body := s.As(t, "trainer").Get(t, "/dog/"+code).Body
	bite, ready := strings.Index(body, "Level 3b on Tuesday, 5 May 2026 (at the &lt;gate&gt;)"), strings.Index(body, "Ready on graduation day?")
	require.Positive(t, bite)
	require.Less(t, bite, ready)
}

// TestHostileRecords puts what could break a page into every text that people can write about a dog.
func TestHostileRecords(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	code, _ := here(t, s)
	hostile := `<script>alert(1)</script>"'><img src=x onerror=alert(2)>` + "\u202Eetis" + strings.Repeat("W", 140)
	for _, sql := range []string{
		`update enrollment.dog set name = $2, breed = $2, note = $2 where code = $1`,
		`update enrollment.owner set name = $2, email = $2, phone = $2 where id = (select owner_id from enrollment.dog where code = $1)`,
		`insert into enrollment.vet (dog_id, name, phone) select id, $2, $2 from enrollment.dog where code = $1 on conflict on constraint vet_pkey do update set name = excluded.name, phone = excluded.phone`,
		`insert into enrollment.feeding (dog_id, note) select id, $2 from enrollment.dog where code = $1 on conflict on constraint feeding_pkey do update set note = excluded.note`,
		`insert into enrollment.bite (dog_id, day, level, note) select id, '2026-05-05', '2', $2 from enrollment.dog where code = $1`,
		`insert into enrollment.medicine (dog_id, medicine, first_day, dose, times, with_food, note) select id, $2, '2027-02-01', $2, '{08:00}', true, $2 from enrollment.dog where code = $1`,
		`insert into enrollment.vaccination (id, dog_id, vaccine, given, course, label_months) select gen_random_uuid(), id, $2, '2027-01-01', 'booster', 12 from enrollment.dog where code = $1`,
		`update training.session set note = $2 where dog_id = (select id from enrollment.dog where code = $1)`,
	} {
		_, err := s.Pool.Exec(t.Context(), sql, code, hostile)
		require.NoError(t, err, sql)
	}
	body := s.As(t, "manager").Get(t, "/dog/"+code).Body
	require.Contains(t, body, "&lt;script&gt;alert(1)")
	require.NotContains(t, body, "<script>alert")
	require.NotContains(t, body, "<img")
	b := s.Browser(t, "manager")
	b.Size(t, 360, 740)
	b.Open(t, "/dog/"+code)
	b.JudgeHere(t, "dog-hostile-360", 360)
}

var rests = regexp.MustCompile(`name="rests\.([0-9-]+)" value="([^"]+)"`)

func TestKeepingADogLonger(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	in := s.As(t, "site-lead")
	code, until := extendable(t, s, in)
	path := "/dog/" + code + "/extend"
	page := in.Get(t, path)
	found := rests.FindStringSubmatch(page.Body)
	require.Len(t, found, 3, "a day is offered")
	stale := in.Post(t, path, path, url.Values{"graduation": {found[1]}, "rests." + found[1]: {"old"}, "reason": {"not ready"}})
	require.Equal(t, http.StatusConflict, stale.Status, "what it rested on has changed")
	done := in.Post(t, path, path, url.Values{"graduation": {found[1]}, "rests." + found[1]: {found[2]}, "reason": {"not ready: <b>"}})
	require.Equal(t, "/dog/"+code, done.Path)
	require.Contains(t, done.Body, "It stays until")
	require.Contains(t, done.Body, "not ready: &lt;b&gt;", "its history says why")
	var now string
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select upper(s.nights)::text from planner.stay s join enrollment.request r on r.id = s.request_id join enrollment.dog d on d.id = r.dog_id
		where d.code = $1 and s.state = 'in residence'`, code).Scan(&now))
	require.Equal(t, found[1], now)
	require.Greater(t, now, until)
	office := s.As(t, "office")
	require.Equal(t, http.StatusForbidden, office.Post(t, "/password", path, url.Values{"graduation": {found[1]}, "reason": {"x"}}).Status)
}

func TestThePageInABrowser(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	code, _ := here(t, s)
	b := s.Browser(t, "manager")
	b.Judge(t, "dog", "/dog/"+code)
	require.LessOrEqual(t, b.Print(t, "dog", "A4"), 4)
	require.LessOrEqual(t, b.Print(t, "dog", "Letter"), 4)
	b.Judge(t, "dog-extend", "/dog/"+code+"/extend")
	b.Judge(t, "dog-isolate", "/dog/"+code+"/isolate?from=2027-02-22")
}

func TestStatementsOfADogAreFixed(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	in := s.As(t, "manager")
	code, _ := here(t, s)
	in.Get(t, "/dog/"+code) // connections are made
	few := s.Statements(func() { in.Get(t, "/dog/"+code) })
	_, err := s.Pool.Exec(t.Context(), `insert into enrollment.bite (dog_id, day, level, note)
		select id, '2026-01-01'::date + n, '1', '' from enrollment.dog, generate_series(1, 50) n where code = $1`, code)
	require.NoError(t, err)
	require.Equal(t, few, s.Statements(func() { in.Get(t, "/dog/"+code) }))
	t.Logf("%d statements", few)
}

// extendable is a dog that can be kept longer.
func extendable(t *testing.T, s *consoletest.School, in *consoletest.Client) (code, graduation string) {
	t.Helper()
	rows, err := s.Pool.Query(t.Context(), `select d.code, upper(s.nights)::text from planner.stay s join enrollment.request r on r.id = s.request_id join enrollment.dog d on d.id = r.dog_id
		where s.state = 'in residence' and s.nights @> '2027-02-22'::date order by d.code`)
	require.NoError(t, err)
	var all [][2]string
	for rows.Next() {
		var one [2]string
		require.NoError(t, rows.Scan(&one[0], &one[1]))
		all = append(all, one)
	}
	require.NoError(t, rows.Err())
	for _, one := range all {
		if rests.MatchString(in.Get(t, "/dog/"+one[0]+"/extend").Body) {
			return one[0], one[1]
		}
	}
	t.Fatal("no dog can be kept longer")
	return "", ""
}
