package dayplan_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
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
	"no work in a closed area": `
		select 1 from dayplan.block b join dayplan.plan p on p.id = b.plan_id and p.state = 'live'
		join facility.area_closure c on c.area_id = b.area_id and tstzrange(c.starts_at, c.ends_at) && b.during`,
	"no work outdoors in an hour above the dog's limit": `
		select 1 from dayplan.block b join dayplan.plan p on p.id = b.plan_id and p.state = 'live' join facility.site s on s.id = p.site_id
		join facility.area a on a.id = b.area_id and a.outdoors join enrollment.dog d on d.id = b.dog_id left join enrollment.trait y on y.dog_id = d.id
		join felt w on w.site_id = p.site_id and tstzrange(w.hour, w.hour + interval '1 hour') && b.during
		where w.felt > case when coalesce(y.flat_faced, '') <> 'no' or coalesce(y.overweight, '') <> 'no' or d.weight_g > 50000 or p.day < d.born + interval '6 months'
		    or p.day >= d.born + interval '8 years'
		  then coalesce(nullif(s.heat_sensitive_f, 0), least(75, coalesce(nullif(s.heat_closed_f, 0), 85))) else coalesce(nullif(s.heat_closed_f, 0), 85) end`,
	"dogs that must not meet are never in one area at once": `
		select 1 from dayplan.block a join dayplan.block b on a.plan_id = b.plan_id and a.area_id = b.area_id and a.during && b.during
		join enrollment.apart x on x.dog_id = a.dog_id and x.other_id = b.dog_id`,
	"two are with a dog that needs two, and one with any other": `
		select 1 from dayplan.block b left join enrollment.trait y on y.dog_id = b.dog_id
		where (coalesce(y.two_people, '') = 'yes') <> (b.second_trainer_id is not null) or b.second_trainer_id = b.trainer_id`,
}

// busy is all that takes a trainer's time, a block with five minutes of changeover, for both who are with the dog; felt is the heat index of
// each hour of a forecast by the equation of NOAA/NWS (Rothfusz 1990, SR 90-23, with its two adjustments), or the air where that is warmer.
const busy = `with weather as (
	select site_id, hour, humidity::float8 as r, case unit when 'C' then temperature_tenths / 10.0 * 9 / 5 + 32 else temperature_tenths / 10.0 end::float8 as t
	from facility.forecast),
felt as (
	select site_id, hour, greatest(t, case when (0.5 * (t + 61 + 1.2 * (t - 68) + 0.094 * r) + t) / 2 < 80 then (0.5 * (t + 61 + 1.2 * (t - 68) + 0.094 * r) + t) / 2
	  else -42.379 + 2.04901523 * t + 10.14333127 * r - 0.22475541 * t * r - 0.00683783 * t * t - 0.05481717 * r * r + 0.00122874 * t * t * r
	    + 0.00085282 * t * r * r - 0.00000199 * t * t * r * r
	    - case when r < 13 and t between 80 and 112 then (13 - r) / 4 * sqrt((17 - abs(t - 95)) / 17) else 0 end
	    + case when r > 85 and t between 80 and 87 then (r - 85) / 10 * (87 - t) / 5 else 0 end end) as felt
	from weather),
busy as (
	select row_number() over () as n, x.* from (
	  select plan_id, unnest(array_remove(array[trainer_id, second_trainer_id], null)) as trainer_id, tstzrange(lower(during), upper(during) + interval '5 minutes') as during
	  from dayplan.block
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
		Second  bool          `db:"second"`
	}
	require.NoError(t, postgres.ReadTx(t.Context(), s.pool, func(tx postgres.Tx) error {
		rows, err := postgres.List[row](t.Context(), tx, "list pairs", `
			select distinct y.request_id, b.trainer_id, b.second from (
			  select plan_id, dog_id, trainer_id, false as second from dayplan.block
			  union all select plan_id, dog_id, second_trainer_id, true from dayplan.block where second_trainer_id is not null) b join dayplan.plan p on p.id = b.plan_id
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
				if r.Second {
					looked++
					continue // the second person holds the care class; the skills are the first one's
				}
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
	scenariotest.FillMarch(t, s.pool)
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
	scenariotest.FillMarch(t, s.pool)
	s.plan(t, "TARN", "2027-03-04")
	require.Empty(t, broken(t, s.pool))
	loosen := `alter table dayplan.block drop constraint block_trainer_excl; alter table dayplan.block drop constraint block_dog_excl;
		alter table dayplan.block drop constraint block_second_excl; `
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
		"no work in a closed area": `insert into facility.area_closure (id, area_id, starts_at, ends_at, reason)
			select gen_random_uuid(), area_id, lower(during), upper(during), 'x' from dayplan.block limit 1`,
		"no work outdoors in an hour above the dog's limit": `insert into facility.forecast (site_id, hour, temperature_tenths, unit, humidity, source)
			select p.site_id, date_trunc('hour', lower(b.during)), 300, 'C', 50, 'x' from dayplan.block b join dayplan.plan p on p.id = b.plan_id
			join facility.area a on a.id = b.area_id and a.outdoors on conflict do nothing`,
		"dogs that must not meet are never in one area at once": `insert into enrollment.apart (dog_id, other_id, reason)
			select a.dog_id, b.dog_id, 'x' from dayplan.block a join dayplan.block b on a.plan_id = b.plan_id and a.area_id = b.area_id and a.during && b.during
			where a.dog_id < b.dog_id on conflict do nothing`,
		"two are with a dog that needs two, and one with any other": `update dayplan.block set second_trainer_id = null where second_trainer_id is not null`,
	} {
		s.spoiled(t, rule, loosen+spoil)
	}
	s.spoiled(t, "a trainer does one thing at a time", loosen+`update dayplan.block b set second_trainer_id = o.trainer_id from dayplan.block o
		where o.plan_id = b.plan_id and b.second_trainer_id is not null and o.trainer_id not in (b.trainer_id, b.second_trainer_id) and o.during && b.during`)
}

// spoiled requires that the question for a rule finds what a statement spoils. The last part of the statement must change a row.
func (s *school) spoiled(t *testing.T, rule, spoil string) {
	t.Helper()
	tx, err := s.pool.Begin(t.Context())
	require.NoError(t, err)
	defer func() { require.NoError(t, tx.Rollback(context.WithoutCancel(t.Context()))) }()
	tag, err := tx.Exec(t.Context(), spoil)
	require.NoError(t, err, rule)
	require.Positive(t, tag.RowsAffected(), rule)
	require.Contains(t, broken(t, tx), rule)
}
