-- +goose Up
alter table planner.plan add column finish_asked_at timestamptz;
alter table planner.plan add column finish_asked_by text not null default '';

alter table planner.placement add column request_code text not null default '';
alter table planner.wait add column request_code text not null default '';
update planner.placement p set request_code = r.code from enrollment.request r where r.id = p.request_id;
update planner.wait w set request_code = r.code from enrollment.request r where r.id = w.request_id;

create table planner.pin (
  id uuid constraint pin_pkey primary key,
  request_id uuid not null constraint pin_request_fkey references enrollment.request,
  site_id uuid not null constraint pin_site_fkey references facility.site,
  arrival date not null,
  run_class text not null constraint pin_run_class_check check (run_class in ('', 'S', 'M', 'L', 'XL')),
  trainer_id uuid constraint pin_trainer_fkey references roster.trainer,
  note text not null,
  made_at timestamptz not null,
  made_by text not null,
  ended_at timestamptz,
  ended_by text not null default '',
  constraint pin_ended_check check ((ended_at is null) = (ended_by = ''))
);
create unique index pin_request_live_key on planner.pin (request_id) where ended_at is null;
create index pin_arrival_idx on planner.pin (arrival);
comment on table planner.pin is 'A person''s word that a request comes to a site on a day, perhaps to a class of run and a trainer: a draft may place it nowhere else. A request has one live pin at most; one that was taken away stays as an ended row.';
