package dayplan_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
)

// rules are the rules of a day as questions to the rows: each must find nothing. They share no code with the planner of days; that a
// question can find something is tested by TestRecountFindsFaults.
var rules = map[string]string{
	"a trainer is at work at the local time": `
		select 1 from busy b join dayplan.plan p on p.id = b.plan_id join facility.site s on s.id = p.site_id
		where not exists (
		  select from roster.shift h left join roster.loan l on l.trainer_id = h.trainer_id and l.days @> p.day
		  where h.trainer_id = b.trainer_id and h.weekday = extract(isodow from p.day) and coalesce(l.site_id, h.site_id) = p.site_id
		    and (lower(b.during) at time zone s.zone)::date = p.day
		    and (lower(b.during) at time zone s.zone)::time >= h.starts and (upper(b.during) at time zone s.zone)::time <= h.ends)
		or exists (select from roster.absence a where a.trainer_id = b.trainer_id and a.days @> p.day)`,
	"a trainer does one thing at a time": `
		select 1 from busy a join busy b on a.plan_id = b.plan_id and a.trainer_id = b.trainer_id and a.n < b.n and a.during && b.during`,
	"a dog is there": `
		select 1 from dayplan.block b join dayplan.plan p on p.id = b.plan_id where not exists (
		  select from planner.stay y join enrollment.request q on q.id = y.request_id
		  where q.dog_id = b.dog_id and y.site_id = p.site_id and y.state in ('published', 'confirmed', 'in residence') and lower(y.nights) <= p.day and upper(y.nights) >= p.day)`,
	"an area belongs to the site": `
		select 1 from dayplan.block b join dayplan.plan p on p.id = b.plan_id join facility.area a on a.id = b.area_id where a.site_id <> p.site_id`,
	"an area holds no more dogs than it may": `
		select 1 from dayplan.block b join facility.area a on a.id = b.area_id
		join dayplan.block o on o.plan_id = b.plan_id and o.area_id = b.area_id and o.during @> lower(b.during)
		group by b.plan_id, b.dog_id, b.session, a.dogs_at_once having count(*) > a.dogs_at_once`,
	"a dog rests an hour between sessions": `
		select 1 from dayplan.block a join dayplan.block b on a.plan_id = b.plan_id and a.dog_id = b.dog_id and a.session <> b.session
		where lower(b.during) >= lower(a.during) and lower(b.during) - upper(a.during) < interval '60 minutes'`,
	"no work at a meal or within an hour after": `
		select 1 from dayplan.block b join dayplan.plan p on p.id = b.plan_id join facility.site s on s.id = p.site_id,
		  unnest(array['07:00', '17:00']::time[]) meal
		where tsrange(p.day + meal, p.day + meal + interval '75 minutes') && tsrange(lower(b.during) at time zone s.zone, upper(b.during) at time zone s.zone)`,
	"a dog that arrives or leaves is worked between": `
		select 1 from dayplan.block b join dayplan.duty d on d.plan_id = b.plan_id and d.dog_id = b.dog_id
		where d.kind = 'intake' and lower(b.during) < upper(d.during) or d.kind = 'handover' and upper(b.during) > lower(d.during)`,
	"each arrival and handover of the day is there": `
		select 1 from dayplan.plan p join planner.stay y on y.site_id = p.site_id and y.state in ('published', 'confirmed', 'in residence')
		join enrollment.request q on q.id = y.request_id
		where (lower(y.nights) = p.day and not exists (select from dayplan.duty d where d.plan_id = p.id and d.dog_id = q.dog_id and d.kind = 'intake'))
		   or (upper(y.nights) = p.day and not exists (select from dayplan.duty d where d.plan_id = p.id and d.dog_id = q.dog_id and d.kind = 'handover'))`,
	"no dog loses a session silently": `
		select 1 from dayplan.plan p join planner.stay y on y.site_id = p.site_id and y.state in ('published', 'confirmed', 'in residence')
		  and lower(y.nights) <= p.day and upper(y.nights) >= p.day
		join enrollment.request q on q.id = y.request_id join enrollment.program g on g.id = q.program_id
		left join lateral (select h.trainer_id from roster.shift h join roster.trainer z on z.id = h.trainer_id
		  left join roster.loan l on l.trainer_id = h.trainer_id and l.days @> p.day
		  where h.trainer_id = y.trainer_id and h.weekday = extract(isodow from p.day) and coalesce(l.site_id, h.site_id) = p.site_id and z.minutes_a_day > 0
		    and not exists (select from roster.absence a where a.trainer_id = h.trainer_id and a.days @> p.day)) own on true
		where (select count(*) from dayplan.block b where b.plan_id = p.id and b.dog_id = q.dog_id) + (select count(*) from dayplan.dropped b where b.plan_id = p.id and b.dog_id = q.dog_id)
		  <> case when p.day in (lower(y.nights), upper(y.nights)) or own.trainer_id is null then least(1, g.sessions_a_day) else g.sessions_a_day end`,
	"never three sessions in a row on one skill": `
		select 1 from (select plan_id, dog_id, skill_id, lag(skill_id) over w as before, lag(skill_id, 2) over w as first from dayplan.block
		  window w as (partition by plan_id, dog_id order by lower(during))) x where skill_id = before and skill_id = first`,
	"what is dropped has a reason and a remedy": `select 1 from dayplan.dropped where reason = '' or remedy = ''`,
}

// busy is all that takes a trainer's time, a block with five minutes of changeover.
const busy = `with busy as (
	select row_number() over () as n, x.* from (
	  select plan_id, trainer_id, tstzrange(lower(during), upper(during) + interval '5 minutes') as during from dayplan.block
	  union all select plan_id, trainer_id, during from dayplan.pause
	  union all select plan_id, trainer_id, during from dayplan.duty where trainer_id is not null) x) `

// broken names the rules that rows break.
func broken(t *testing.T, db postgres.DB) (found []string) {
	t.Helper()
	// Without statistics the questions take seconds: so few rows are not what a planner of queries expects.
	_, err := db.Exec(t.Context(), `analyze dayplan.plan, dayplan.block, dayplan.pause, dayplan.duty, dayplan.dropped, planner.stay, enrollment.request, enrollment.program, roster.shift`)
	require.NoError(t, err)
	for rule, sql := range rules {
		var n int
		require.NoError(t, db.QueryRow(t.Context(), busy+`select count(*) from (`+sql+`) found`).Scan(&n), rule)
		if n > 0 {
			found = append(found, rule)
		}
	}
	return found
}

// mayHandle requires that every block's trainer holds the dog's care class and skill levels.
func (s *school) mayHandle(t *testing.T) (looked int) {
	t.Helper()
	type row struct {
		Request ids.RequestID `db:"request_id"`
		Trainer ids.TrainerID `db:"trainer_id"`
	}
	require.NoError(t, postgres.ReadTx(t.Context(), s.pool, func(tx postgres.Tx) error {
		rows, err := postgres.List[row](t.Context(), tx, "list pairs", `
			select distinct y.request_id, b.trainer_id from dayplan.block b join dayplan.plan p on p.id = b.plan_id
			join enrollment.request q on q.dog_id = b.dog_id join planner.stay y on y.request_id = q.id and y.site_id = p.site_id
			  and lower(y.nights) <= p.day and upper(y.nights) >= p.day`)
		require.NoError(t, err)
		trainers, err := roster.ListTrainers(t.Context(), tx)
		require.NoError(t, err)
		known := map[ids.TrainerID]roster.Trainer{}
		for _, x := range trainers {
			known[x.ID] = x
		}
		var requests []ids.RequestID
		for _, r := range rows {
			requests = append(requests, r.Request)
		}
		cases, err := enrollment.ListCasesByRequest(t.Context(), tx, requests)
		require.NoError(t, err)
		for _, c := range cases {
			for _, r := range rows {
				if r.Request != c.Request.ID {
					continue
				}
				need, err := c.Need(c.Request.Window.From)
				require.NoError(t, err)
				require.Contains(t, known[r.Trainer].CareClasses, string(need.Care), "%s with %s", c.Dog.Code, known[r.Trainer].Code)
				for skill, level := range need.Skills {
					require.GreaterOrEqual(t, known[r.Trainer].Skills[string(skill)], level, "%s with %s: %s", c.Dog.Code, known[r.Trainer].Code, skill)
				}
				looked++
			}
		}
		return nil
	}))
	return looked
}

// TestMonthBreaksNoRule plans days of the scenario's month at all sites, that on which clocks are set ahead among them, and recounts them from
// the rows.
func TestMonthBreaksNoRule(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.promise(t)
	held, dropped := 0, 0
	for _, day := range []string{"2027-03-01", "2027-03-04", "2027-03-09", "2027-03-14", "2027-03-20"} {
		for _, site := range []string{"DRUM", "FENN", "QUILL", "TARN"} {
			p := s.plan(t, site, day)
			require.GreaterOrEqual(t, p.GetBound(), p.GetValue())
			held += len(p.GetBlocks())
			dropped += len(p.GetDrops())
		}
	}
	t.Logf("%d sessions held, %d dropped", held, dropped)
	require.Greater(t, held, 300)
	require.Empty(t, broken(t, s.pool))
	require.Positive(t, s.mayHandle(t))
}

// TestRecountFindsFaults spoils a plan's rows in each way, and the question made for it must find that.
func TestRecountFindsFaults(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.promise(t)
	s.plan(t, "TARN", "2027-03-04")
	require.Empty(t, broken(t, s.pool))
	loosen := `alter table dayplan.block drop constraint block_trainer_excl; alter table dayplan.block drop constraint block_dog_excl; `
	first := `(plan_id, dog_id, session) = (select plan_id, dog_id, session from dayplan.block order by lower(during), dog_id limit 1)`
	for rule, spoil := range map[string]string{
		"a trainer is at work at the local time":         `update dayplan.block set during = tstzrange(lower(during) - interval '6 hours', upper(during) - interval '6 hours') where ` + first,
		"a trainer does one thing at a time":             `update dayplan.block b set during = p.during from dayplan.pause p where p.plan_id = b.plan_id and p.trainer_id = b.trainer_id`,
		"a dog is there":                                 `update dayplan.block set dog_id = (select dog_id from enrollment.request where state = 'withdrawn' limit 1) where ` + first,
		"an area belongs to the site":                    `update dayplan.block set area_id = (select a.id from facility.area a join facility.site s on s.id = a.site_id where s.code = 'DRUM' limit 1) where ` + first,
		"an area holds no more dogs than it may":         `update dayplan.block set area_id = (select a.id from facility.area a join facility.site s on s.id = a.site_id where s.code = 'TARN' and a.code = 'quiet-1')`,
		"a dog rests an hour between sessions":           `update dayplan.block b set during = o.during from dayplan.block o where o.plan_id = b.plan_id and o.dog_id = b.dog_id and b.session = 2 and o.session = 1`,
		"no work at a meal or within an hour after":      `update dayplan.block set during = tstzrange('2027-03-04 17:30-07', '2027-03-04 17:45-07') where ` + first,
		"a dog that arrives or leaves is worked between": `update dayplan.duty d set during = tstzrange('2027-03-04 05:00-07', '2027-03-04 06:00-07'), kind = 'handover' from dayplan.block b where b.dog_id = d.dog_id`,
		"each arrival and handover of the day is there":  `delete from dayplan.duty`,
		"no dog loses a session silently":                `delete from dayplan.block where ` + first,
		"never three sessions in a row on one skill":     `update dayplan.block set skill_id = (select id from training.skill limit 1)`,
		"what is dropped has a reason and a remedy": `insert into dayplan.dropped (plan_id, dog_id, session, reason, remedy)
			select plan_id, dog_id, 9, '', 'a' from dayplan.block limit 1`,
	} {
		func() {
			tx, err := s.pool.Begin(t.Context())
			require.NoError(t, err)
			defer func() { require.NoError(t, tx.Rollback(context.WithoutCancel(t.Context()))) }()
			_, err = tx.Exec(t.Context(), loosen)
			require.NoError(t, err)
			tag, err := tx.Exec(t.Context(), spoil)
			require.NoError(t, err, rule)
			require.Positive(t, tag.RowsAffected(), rule)
			require.Contains(t, broken(t, tx), rule)
		}()
	}
}
