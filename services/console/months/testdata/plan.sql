-- A month of so many requests with two plans: three quarters of them placed, each in a run of its own, and two in ten otherwise in the second plan.
insert into enrollment.owner (id, code, name, email, phone, zone)
select gen_random_uuid(), '%[1]sO' || n, 'Owner ' || n, 'o' || n || '@example.com', '555-0100', 'America/Chicago' from generate_series(1, %[2]d) n;
insert into enrollment.dog (id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level, note)
select gen_random_uuid(), '%[1]sD' || substr(o.code, 3), o.id, 'Dog ' || o.code, 'mixed', 3, false, 'neutered', '2024-05-01', 20000, 800, 550, '', ''
from enrollment.owner o where o.code like '%[1]sO%%';
insert into enrollment.request (id, code, dog_id, program_id, window_days, wished, priority, deposit, asked_on, household, state, note)
select gen_random_uuid(), '%[1]sR' || lpad(substr(d.code, 3), 4, '0'), d.id, p.id, daterange('%[3]s-01', '%[3]s-25'), null, 3, false, '2027-01-10', '', 'open', ''
from enrollment.dog d, enrollment.program p where d.code like '%[1]sD%%' and p.code = 'THREE';
create temp table numbered on commit drop as
select r.id, r.code, n, s.id as site_id, s.code as site_code, mod(n, 4) < 3 as placed from (select *, row_number() over (order by code) as n from enrollment.request where code like '%[1]sR%%') r
join (select *, row_number() over (order by code) as k from facility.site) s on s.k = 1 + mod(n, 60);
insert into enrollment.request_site (request_id, site_id, travel_minutes) select id, site_id, 40 from numbered;
insert into planner.plan (id, month, number, state, made_at, made_by, seconds_limit, iterations_limit, seed, value, bound, requests, placed, seconds, policy, fingerprint)
select gen_random_uuid(), '%[3]s-01', k, 'draft', '2027-02-22', 'rosa', 30, 0, 1, 200 * (select count(*) from numbered where placed), 210 * (select count(*) from numbered where placed), %[2]d,
  (select count(*) from numbered where placed), 30, '{}', 'none' from generate_series(1, 2) k;
insert into planner.placement (plan_id, request_id, request_code, site_id, run_id, trainer_id, nights, value, points, minutes, cover_minutes, standing)
select pl.id, x.id, x.code, x.site_id, ru.id, tr.id, daterange('%[3]s-02'::date + mod(x.n, 20)::int, '%[3]s-23'::date + mod(x.n, 20)::int), 200, '[{"term":"placed","points":200,"text":"for being placed"}]', 60, 30, 'new'
from numbered x join planner.plan pl on pl.month = '%[3]s-01'
join (select *, row_number() over (partition by site_id order by code) as k from facility.run) ru on ru.site_id = x.site_id and ru.k = 1 + mod(x.n / 60, 40)
join (select *, row_number() over (partition by home_site_id order by code) as k from roster.trainer) tr
  on tr.home_site_id = x.site_id and tr.k = 1 + mod(x.n / 60 + case when pl.number = 2 and mod(x.n, 10) < 2 then 1 else 0 end, 6)
where x.placed;
insert into planner.wait (plan_id, request_id, request_code, hard, reason, remedy, refusals)
select pl.id, x.id, x.code, mod(x.n, 8) = 0, 'others fill the month: nearest was ' || x.site_code || ' from %[3]s-08, but all L runs there are taken',
  '1 more run of class L at ' || x.site_code || ' for the nights from %[3]s-08 to %[3]s-29 would have admitted it',
  ('{"open_choices":3,"list":[{"site":"' || x.site_code || '","first":"%[3]s-01","last":"%[3]s-24","reason":"all L runs are taken","remedy":"an arrival after %[3]s-24","hard":false}]}')::jsonb
from numbered x join planner.plan pl on pl.month = '%[3]s-01' where not x.placed;
insert into planner.use (plan_id, site_id, resource, unit, day, used, capacity, price)
select pl.id, s.id, u.resource, coalesce(tr.code, u.unit), d::date, least(u.capacity, mod(extract(day from d)::int * 7 + length(u.unit) + ascii(substr(s.code, 3)), u.capacity + 3)), u.capacity, mod(extract(day from d)::int, 5)
from planner.plan pl, facility.site s, generate_series('%[3]s-01'::date, ('%[3]s-01'::date + interval '1 month - 1 day')::date, '1 day') d,
  (values ('runs', 'S', 10), ('runs', 'M', 10), ('runs', 'L', 10), ('runs', 'XL', 10), ('trainer minutes', 'each', 420), ('intake places', '', 3), ('handover places', '', 3), ('site minutes', '', 2520)) u (resource, unit, capacity)
left join lateral (select code from roster.trainer t where u.unit = 'each' and t.home_site_id = s.id) tr on true
where pl.month = '%[3]s-01';
