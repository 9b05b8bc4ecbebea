-- +goose Up
create table planner.long_day (
  plan_id uuid not null constraint long_day_plan_fkey references planner.plan,
  site_id uuid not null constraint long_day_site_fkey references facility.site,
  trainer_id uuid not null constraint long_day_trainer_fkey references roster.trainer,
  day date not null,
  quarters int not null constraint long_day_quarters_check check (quarters > 0),
  points bigint not null constraint long_day_points_check check (points < 0),
  constraint long_day_pkey primary key (plan_id, site_id, trainer_id, day)
);
comment on table planner.long_day is 'A trainer''s day that a plan fills beyond the easy share of its minutes: by how many quarters of an hour, and the points that this takes. A plan''s value is the points of its placements and of its long days.';
