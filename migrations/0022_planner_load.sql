-- +goose Up
create table planner.load (
  plan_id uuid not null constraint load_plan_fkey references planner.plan,
  site_id uuid not null constraint load_site_fkey references facility.site,
  resource text not null,
  unit text not null,
  used int[] not null,
  capacity int[] not null,
  price real[] not null,
  constraint load_pkey primary key (plan_id, site_id, resource, unit),
  constraint load_days_check check (cardinality(used) between 28 and 31 and cardinality(capacity) = cardinality(used) and cardinality(price) = cardinality(used))
);
comment on table planner.load is 'planner.use once more for the days of the plan''s month, a row for each resource with a value for each day, 0 where there is none: what pages read. It is written from planner.use when a draft is kept, and never changes.';

insert into planner.load (plan_id, site_id, resource, unit, used, capacity, price)
select k.plan_id, k.site_id, k.resource, k.unit, array_agg(coalesce(u.used, 0) order by d), array_agg(coalesce(u.capacity, 0) order by d), array_agg(coalesce(u.price, 0)::real order by d)
from (select distinct plan_id, site_id, resource, unit from planner.use) k
join planner.plan p on p.id = k.plan_id
cross join lateral generate_series(p.month::timestamp, p.month::timestamp + interval '1 month' - interval '1 day', interval '1 day') d
left join planner.use u on (u.plan_id, u.site_id, u.resource, u.unit, u.day) = (k.plan_id, k.site_id, k.resource, k.unit, d::date)
group by k.plan_id, k.site_id, k.resource, k.unit;
