package requests_test

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

// grow adds requests, with dogs and owners of their own, up to a number, and sites up to sixty; a draft has looked at all of them.
func grow(t testing.TB, s *consoletest.School, requests int) {
	t.Helper()
	for _, sql := range []string{
		`insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days)
		 select gen_random_uuid(), 'S' || n, 'Site ' || n, 'America/Denver', 28, '{rabies}', 100, 1 from generate_series(1, 60 - (select count(*)::int from facility.site)) n`,
		`insert into enrollment.owner (id, code, name, email, phone, zone) select gen_random_uuid(), 'G-' || n, 'Owner ' || n, '', '555 ' || n, '' from generate_series(1, $1::int - (select count(*)::int from enrollment.request)) n`,
		`insert into enrollment.dog (id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level, note)
		 select gen_random_uuid(), code, id, 'Dog ' || code, '', 0, false, 'male', '2025-01-01', 20000, 800, 600, '', '' from enrollment.owner where code like 'G-%'`,
		`insert into enrollment.request (id, code, dog_id, program_id, window_days, priority, deposit, asked_on, household, state, note)
		 select gen_random_uuid(), d.code, d.id, (select id from enrollment.program order by code limit 1), '[2027-03-05,2027-03-20)', 3, false, '2026-12-01', '', 'open', ''
		 from enrollment.dog d where d.code like 'G-%'`,
		`insert into enrollment.request_site (request_id, site_id, travel_minutes) select r.id, t.id, 30 from enrollment.request r
		 cross join lateral (select id from facility.site order by md5(r.code || code) limit 3) t where r.code like 'G-%'`,
		`insert into planner.plan (id, month, number, state, made_at, made_by, seconds_limit, iterations_limit, seed)
		 values (gen_random_uuid(), '2027-03-01', 900, 'draft', now(), 'test', 1, 1, 1)`,
		`insert into planner.wait (plan_id, request_id, hard, reason, remedy, refusals)
		 select p.id, r.id, false, 'every run of the size it needs is taken on these days by others that were worth more', 'another site, or days after the 20th', '{}'
		 from planner.plan p, enrollment.request r where p.number = 900`,
	} {
		var err error
		if strings.Contains(sql, "$1") {
			_, err = s.Pool.Exec(t.Context(), sql, requests)
		} else {
			_, err = s.Pool.Exec(t.Context(), sql)
		}
		require.NoError(t, err, sql)
	}
	_, err := s.Pool.Exec(t.Context(), `analyze`)
	require.NoError(t, err)
}

func TestStatementsAreFixed(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	in := s.As(t, "manager")
	paths := []string{"/requests", "/requests?find=1", "/request/" + waiting(t, s), "/requests/new", "/school", "/school/requests", "/school/policy", "/import"}
	count := func() map[string]int64 {
		all := map[string]int64{}
		for _, path := range paths {
			require.Equal(t, http.StatusOK, in.Get(t, path).Status, path) // connections and statements are made
			all[path] = s.Statements(func() { in.Get(t, path) })
		}
		return all
	}
	grow(t, s, 400)
	few := count()
	_, err := s.Pool.Exec(t.Context(), `delete from planner.wait where plan_id in (select id from planner.plan where number = 900)`)
	require.NoError(t, err)
	_, err = s.Pool.Exec(t.Context(), `delete from planner.plan where number = 900`)
	require.NoError(t, err)
	_, err = s.Pool.Exec(t.Context(), `delete from enrollment.request_site where request_id in (select id from enrollment.request where code like 'G-%')`)
	require.NoError(t, err)
	for _, table := range []string{"request", "dog", "owner"} {
		_, err = s.Pool.Exec(t.Context(), `delete from enrollment.`+table+` where code like 'G-%'`)
		require.NoError(t, err)
	}
	grow(t, s, 2000)
	require.Equal(t, few, count(), "as many for 400 requests as for 2,000")
	t.Log(few)
}

// BenchmarkPages measures the time of the server for pages over 2,000 requests and 60 sites, one visitor at a time: the median, and what one in a
// hundred takes at least.
func BenchmarkPages(b *testing.B) {
	s := consoletest.New(b, consoletest.Set{March: true})
	one := waiting(b, s)
	grow(b, s, 2000)
	consoletest.TimePages(b, s.As(b, "manager"), map[string]string{"list": "/requests", "all": "/requests?state=", "last": "/requests?state=&page=40", "find": "/requests?find=owner+17", "request": "/request/" + one,
		"new": "/requests/new", "records": "/school/requests", "record": "/school/requests/record?key=" + one, "dog": "/dog/D-013"})
}
