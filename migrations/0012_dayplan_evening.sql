-- +goose Up
create table dayplan.schedule (
  site_id uuid constraint schedule_pkey primary key constraint schedule_site_fkey references facility.site,
  at time,
  changed_at timestamptz not null,
  changed_by text not null
);
comment on table dayplan.schedule is 'At what local time a site''s next day is planned; null where no day is planned by itself. A site without a row has the usual time.';

create table dayplan.evening (
  site_id uuid not null constraint evening_site_fkey references facility.site,
  day date not null,
  due_at timestamptz not null,
  outcome text not null constraint evening_outcome_check check (outcome in ('waiting', 'planned', 'kept', 'ask', 'late', 'failed')),
  note text not null,
  queued_at timestamptz not null,
  attempts int not null,
  done_at timestamptz constraint evening_done_check check ((done_at is null) = (outcome = 'waiting')),
  plan_id uuid constraint evening_plan_fkey references dayplan.plan,
  fingerprint text not null,
  constraint evening_pkey primary key (site_id, day)
);
create index evening_waiting_idx on dayplan.evening (queued_at) where outcome = 'waiting';
comment on table dayplan.evening is 'A day that the schedule plans: one row for each site and day, whatever fails. plan_id is the latest plan that the schedule kept, fingerprint that of the inputs it last came to an end with, attempts how many workers have taken it up since these changed.';
