package daysheet_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// keepFixed keeps a plan of a day at DRUM that no search made, so that goldens depend on no clock: each dog's trainer works with its dogs
// one after the other, in the order of codes, at 08:00 and again at 10:30; dogs whose trainer is not there are LOTTE's. INGA has a meal, one
// dog's second session is not held, and nobody can hand D-059 over.
func (s *school) keepFixed(t *testing.T, day string) {
	t.Helper()
	_, err := s.pool.Exec(t.Context(), `
		with site as (select id from facility.site where code = 'DRUM'),
		plan as (
		  insert into dayplan.plan (id, site_id, day, number, state, made_at, made_by, seed, seconds, fingerprint, value, bound, dogs, notes)
		  select gen_random_uuid(), id, $1, 1, 'live', '2027-02-22 15:00Z', 'hand', 1, 0, 'none', 0, 0, 0, '{Look at the forecast.}' from site returning id),
		guests as (
		  select d.id as dog, d.code, q.program_id, x.trainer_id as own,
		    case when t.code = 'AMINA' then (select id from roster.trainer where code = 'LOTTE') else x.trainer_id end as trainer
		  from planner.stay x join enrollment.request q on q.id = x.request_id join enrollment.dog d on d.id = q.dog_id join roster.trainer t on t.id = x.trainer_id
		  where x.site_id = (select id from site) and x.nights @> $1::date),
		sessions as (
		  select g.*, n as session, row_number() over (partition by g.trainer, n order by g.code) as place,
		    (select skill_id from training.target a join training.skill k on k.id = a.skill_id where a.program_id = g.program_id order by k.sort_order offset n limit 1) as skill
		  from guests g cross join generate_series(1, 2) n where not (g.code = 'D-064' and n = 2)),
		blocks as (
		  insert into dayplan.block (plan_id, dog_id, session, trainer_id, own, area_id, skill_id, during)
		  select plan.id, dog, session, trainer, trainer = own, (select id from facility.area where code = 'front-yard' and site_id = (select id from site)), skill,
		    tstzrange(at, at + interval '20 minutes')
		  from sessions, plan, lateral (select ($1::date + time '08:00' + (session - 1) * interval '150 minutes' + (place - 1) * interval '25 minutes') at time zone 'America/Chicago' as at) w),
		pauses as (
		  insert into dayplan.pause (plan_id, trainer_id, kind, during)
		  select plan.id, t.id, 'meal', tstzrange(($1::date + time '12:30') at time zone 'America/Chicago', ($1::date + time '13:00') at time zone 'America/Chicago')
		  from plan, roster.trainer t where t.code = 'INGA'),
		duties as (
		  insert into dayplan.duty (plan_id, dog_id, kind, trainer_id, during)
		  select plan.id, d.id, 'handover', null, tstzrange(($1::date + time '15:00') at time zone 'America/Chicago', ($1::date + time '16:30') at time zone 'America/Chicago')
		  from plan, enrollment.dog d where d.code = 'D-059')
		insert into dayplan.dropped (plan_id, dog_id, session, skill_id, reason, remedy)
		select plan.id, d.id, 2, (select id from training.skill where code = 'HEEL'), 'no area is free when the dog and LOTTE are', 'one more area'
		from plan, enrollment.dog d where d.code = 'D-064'`, day)
	require.NoError(t, err)
}
