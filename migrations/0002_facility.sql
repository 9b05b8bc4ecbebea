-- +goose Up
create table facility.site (
  id uuid constraint site_pkey primary key,
  code text not null constraint site_code_key unique,
  name text not null,
  zone text not null,
  rabies_waiting_days int not null constraint site_rabies_waiting_days_check check (rabies_waiting_days in (14, 28, 30)),
  required_vaccines text[] not null,
  floor_percent int not null constraint site_floor_percent_check check (floor_percent between 100 and 400),
  clean_down_days int not null constraint site_clean_down_days_check check (clean_down_days between 0 and 7),
  rules_note text not null default ''
);
comment on table facility.site is 'A place where dogs live and are trained; its rules are settings with their citation in rules_note.';

create table facility.run (
  id uuid constraint run_pkey primary key,
  site_id uuid not null constraint run_site_fkey references facility.site,
  code text not null,
  row_name text not null,
  length_mm int not null constraint run_length_check check (length_mm between 300 and 20000),
  width_mm int not null constraint run_width_check check (width_mm between 300 and 20000),
  height_mm int not null constraint run_height_check check (height_mm between 300 and 10000),
  isolation boolean not null,
  constraint run_site_code_key unique (site_id, code)
);
comment on table facility.run is 'A kennel enclosure. Its class follows from its inner dimensions; isolation runs are held back from plans.';

create table facility.closure (
  id uuid constraint closure_pkey primary key,
  run_id uuid not null constraint closure_run_fkey references facility.run,
  days daterange not null constraint closure_days_check check (not isempty(days) and not lower_inf(days) and not upper_inf(days)),
  reason text not null,
  constraint closure_run_days_excl exclude using gist (run_id with =, days with &&)
);
comment on table facility.closure is 'Days on which a run is out of use; half-open.';

create table facility.area (
  id uuid constraint area_pkey primary key,
  site_id uuid not null constraint area_site_fkey references facility.site,
  code text not null,
  kind text not null constraint area_kind_check check (kind in ('quiet room', 'hall', 'yard', 'field')),
  dogs_at_once int not null constraint area_dogs_at_once_check check (dogs_at_once between 1 and 100),
  constraint area_site_code_key unique (site_id, code)
);
comment on table facility.area is 'A training area.';

create table facility.places (
  site_id uuid not null constraint places_site_fkey references facility.site,
  weekday int not null constraint places_weekday_check check (weekday between 1 and 7),
  intake int not null constraint places_intake_check check (intake between 0 and 200),
  handover int not null constraint places_handover_check check (handover between 0 and 200),
  constraint places_pkey primary key (site_id, weekday)
);
comment on table facility.places is 'Intake and handover places of each weekday; 1 is Monday (ISO 8601).';

create table facility.places_exception (
  site_id uuid not null constraint places_exception_site_fkey references facility.site,
  day date not null,
  intake int not null constraint places_exception_intake_check check (intake between 0 and 200),
  handover int not null constraint places_exception_handover_check check (handover between 0 and 200),
  note text not null,
  constraint places_exception_pkey primary key (site_id, day)
);
comment on table facility.places_exception is 'Days that differ from their weekday: holidays, busy days.';
