-- +goose Up
create table planner.policy_term (
  term text constraint policy_term_pkey primary key,
  points int not null constraint policy_term_points_check check (points between -100000 and 100000)
);
comment on table planner.policy_term is 'Preferences in points; a term that is absent has its default.';

create table planner.plan (
  id uuid constraint plan_pkey primary key,
  month date not null constraint plan_month_check check (extract(day from month) = 1),
  number int not null,
  state text not null constraint plan_state_check check (state in ('drafting', 'draft', 'published', 'superseded', 'cancelled', 'failed')),
  made_at timestamptz not null,
  made_by text not null,
  seconds_limit int not null,
  iterations_limit int not null,
  seed bigint not null,
  job_id bigint,
  attempt int not null default 0,
  phase text not null default '',
  value bigint not null default 0,
  bound bigint,
  requests int not null default 0,
  placed int not null default 0,
  seconds double precision not null default 0,
  solver_version text not null default '',
  fingerprint text not null default '',
  policy jsonb,
  cautions text[] not null default '{}',
  failure text not null default '',
  published_at timestamptz,
  published_by text not null default '',
  constraint plan_month_number_key unique (month, number)
);
create unique index plan_month_published_key on planner.plan (month) where state = 'published';
comment on table planner.plan is 'A month plan. One plan of a month is published at a time; one that was published before is superseded.';

create table planner.placement (
  plan_id uuid not null constraint placement_plan_fkey references planner.plan,
  request_id uuid not null constraint placement_request_fkey references enrollment.request,
  site_id uuid not null constraint placement_site_fkey references facility.site,
  run_id uuid not null constraint placement_run_fkey references facility.run,
  trainer_id uuid not null constraint placement_trainer_fkey references roster.trainer,
  nights daterange not null constraint placement_nights_check check (not isempty(nights) and not lower_inf(nights) and not upper_inf(nights)),
  value bigint not null,
  points jsonb not null,
  minutes int not null,
  cover_minutes int not null,
  standing text not null constraint placement_standing_check check (standing in ('confirmed', 'in residence', 'kept', 'moved', 'new')),
  constraint placement_pkey primary key (plan_id, request_id),
  constraint placement_run_nights_excl exclude using gist (plan_id with =, run_id with =, nights with &&)
);
comment on table planner.placement is 'A request placed by a plan; nights are half-open, from arrival to graduation.';

create table planner.wait (
  plan_id uuid not null constraint wait_plan_fkey references planner.plan,
  request_id uuid not null constraint wait_request_fkey references enrollment.request,
  hard boolean not null,
  reason text not null,
  remedy text not null,
  refusals jsonb not null,
  constraint wait_pkey primary key (plan_id, request_id)
);
comment on table planner.wait is 'A request that a plan did not place, with the reasons.';

create table planner.use (
  plan_id uuid not null constraint use_plan_fkey references planner.plan,
  site_id uuid not null constraint use_site_fkey references facility.site,
  resource text not null constraint use_resource_check check (resource in ('runs', 'trainer minutes', 'trainer dogs', 'intake places', 'handover places', 'site minutes')),
  unit text not null,
  day date not null,
  used int not null,
  capacity int not null,
  price double precision not null,
  constraint use_pkey primary key (plan_id, site_id, resource, unit, day)
);
comment on table planner.use is 'What a plan uses of each resource on each day, what there is, and what one more would be worth in points.';

create table planner.stay (
  id uuid constraint stay_pkey primary key,
  request_id uuid not null constraint stay_request_fkey references enrollment.request,
  plan_id uuid constraint stay_plan_fkey references planner.plan,
  site_id uuid not null constraint stay_site_fkey references facility.site,
  run_id uuid not null constraint stay_run_fkey references facility.run,
  trainer_id uuid not null constraint stay_trainer_fkey references roster.trainer,
  nights daterange not null constraint stay_nights_check check (not isempty(nights) and not lower_inf(nights) and not upper_inf(nights)),
  state text not null constraint stay_state_check check (state in ('published', 'confirmed', 'in residence', 'gone home', 'cancelled', 'replaced')),
  made_at timestamptz not null,
  constraint stay_run_nights_excl exclude using gist (run_id with =, nights with &&)
    where (state in ('published', 'confirmed', 'in residence', 'gone home'))
);
create unique index stay_request_live_key on planner.stay (request_id) where state in ('published', 'confirmed', 'in residence', 'gone home');
comment on table planner.stay is 'A promise: a request with its place, run and trainer. Never deleted: a promise that was moved is replaced. Live stays share no run on a night, and a request has one live stay at most.';

create table planner.stay_change (
  id uuid constraint stay_change_pkey primary key,
  stay_id uuid not null constraint stay_change_stay_fkey references planner.stay,
  changed_at timestamptz not null,
  changed_by text not null,
  before jsonb,
  after jsonb not null,
  reason text not null
);
create index stay_change_stay_idx on planner.stay_change (stay_id);
comment on table planner.stay_change is 'Audit trail: who changed a promise, when, from what to what and why.';
