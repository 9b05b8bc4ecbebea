with runs as (
  select r.id, r.site_id, row_number() over (partition by r.site_id order by r.code) as n from facility.run r
  where not r.isolation and not exists (select from planner.stay x where x.run_id = r.id and upper(x.nights) >= '2027-03-01')),
requests as (
  select q.id, c.site_id, p.nights, row_number() over (partition by c.site_id order by q.code) as n from enrollment.request q
  join enrollment.program p on p.id = q.program_id
  join lateral (select site_id from enrollment.request_site x where x.request_id = q.id order by x.site_id limit 1) c on true
  where q.state = 'open' and q.code like 'M-%'),
trainers as (
  select id, home_site_id, row_number() over (partition by home_site_id order by code) as n, count(*) over (partition by home_site_id) as many from roster.trainer)
insert into planner.stay (id, request_id, site_id, run_id, trainer_id, nights, state, made_at)
select gen_random_uuid(), q.id, q.site_id, r.id, x.id, daterange(('2027-03-01'::date + (q.n % 10)::int), ('2027-03-01'::date + (q.n % 10)::int + q.nights)), 'published', now()
from requests q join runs r on r.site_id = q.site_id and r.n = q.n
join trainers x on x.home_site_id = q.site_id and x.n = 1 + q.n % x.many;
