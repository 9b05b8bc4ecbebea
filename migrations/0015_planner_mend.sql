-- +goose Up
create table planner.health_setting (
  site_id uuid constraint health_setting_pkey primary key constraint health_setting_site_fkey references facility.site,
  isolation_days int not null constraint health_setting_isolation_days_check check (isolation_days between 1 and 90),
  watch_days int not null constraint health_setting_watch_days_check check (watch_days between 1 and 90),
  distemper_watch_days int not null constraint health_setting_distemper_watch_days_check check (distemper_watch_days between 1 and 90),
  hold_days int not null constraint health_setting_hold_days_check check (hold_days between 0 and 90),
  hold_scope text not null constraint health_setting_hold_scope_check check (hold_scope in ('row', 'site', 'none')),
  note text not null default ''
);
comment on table planner.health_setting is 'What a site does when a dog is ill, in days; a site without a row has the defaults. A veterinarian and local codes go before it; note says where the numbers are from.';

create table planner.isolation (
  id uuid constraint isolation_pkey primary key,
  request_id uuid not null constraint isolation_request_fkey references enrollment.request,
  stay_id uuid not null constraint isolation_stay_fkey references planner.stay,
  site_id uuid not null constraint isolation_site_fkey references facility.site,
  run_id uuid not null constraint isolation_run_fkey references facility.run,
  days daterange not null constraint isolation_days_check check (not isempty(days) and not lower_inf(days) and not upper_inf(days)),
  planned_days daterange not null,
  suspected text not null constraint isolation_suspected_check check (suspected in ('', 'distemper')),
  reason text not null,
  made_at timestamptz not null,
  made_by text not null,
  ended_at timestamptz,
  ended_by text not null default '',
  end_reason text not null default '',
  constraint isolation_run_days_excl exclude using gist (run_id with =, days with &&),
  constraint isolation_request_days_excl exclude using gist (request_id with =, days with &&)
);
create index isolation_site_idx on planner.isolation (site_id);
comment on table planner.isolation is 'Nights of a stay spent in an isolation run; half-open, so a dog may come out on the last day. The stay keeps its own run meanwhile. planned_days is what was decided first, days what counts now.';

create table planner.contact_watch (
  isolation_id uuid not null constraint contact_watch_isolation_fkey references planner.isolation,
  request_id uuid not null constraint contact_watch_request_fkey references enrollment.request,
  days daterange not null constraint contact_watch_days_check check (not isempty(days) and not lower_inf(days) and not upper_inf(days)),
  because text[] not null,
  constraint contact_watch_pkey primary key (isolation_id, request_id)
);
comment on table planner.contact_watch is 'Dogs that were near one that was isolated, and the days on which they are watched; half-open.';

create table planner.intake_hold (
  isolation_id uuid constraint intake_hold_pkey primary key constraint intake_hold_isolation_fkey references planner.isolation,
  site_id uuid not null constraint intake_hold_site_fkey references facility.site,
  row_name text not null,
  days daterange not null constraint intake_hold_days_check check (not isempty(days) and not lower_inf(days) and not upper_inf(days))
);
create index intake_hold_site_idx on planner.intake_hold (site_id);
comment on table planner.intake_hold is 'Days on which plans put no new arrival into a row of runs, or, with no row named, into the site; half-open.';
