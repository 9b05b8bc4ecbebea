-- +goose Up
create schema handover;
comment on schema handover is 'Appointments with owners: the handover that ends a stay, and lessons that follow it.';

create table handover.setting (
  site_id uuid constraint setting_pkey primary key constraint setting_site_fkey references facility.site,
  area_id uuid constraint setting_area_fkey references facility.area,
  gates text[] not null constraint setting_gates_check check (cardinality(gates) > 0),
  gate_minutes int not null constraint setting_gate_minutes_check check (gate_minutes between 0 and 120),
  minutes int not null constraint setting_minutes_check check (minutes between 60 and 120),
  lesson_minutes int not null constraint setting_lesson_minutes_check check (lesson_minutes between 15 and 120),
  first_start time not null,
  last_end time not null constraint setting_hours_check check (last_end > first_start),
  move_hours int not null constraint setting_move_hours_check check (move_hours between 0 and 336),
  phone text not null,
  place text not null,
  who text not null,
  bring text[] not null,
  leave_home text[] not null,
  note text not null
);
comment on table handover.setting is 'How a site holds handovers; a site without a row has the defaults. Times are local. move_hours is until how long before the begin an owner may choose another time.';

create table handover.appointment (
  id uuid constraint appointment_pkey primary key,
  purpose text not null constraint appointment_purpose_check check (purpose in ('handover', 'lesson')),
  stay_id uuid not null constraint appointment_stay_fkey references planner.stay,
  request_id uuid not null constraint appointment_request_fkey references enrollment.request,
  dog_id uuid not null constraint appointment_dog_fkey references enrollment.dog,
  owner_id uuid not null constraint appointment_owner_fkey references enrollment.owner,
  site_id uuid not null constraint appointment_site_fkey references facility.site,
  trainer_id uuid not null constraint appointment_trainer_fkey references roster.trainer,
  area_id uuid constraint appointment_area_fkey references facility.area,
  gate text not null,
  begins timestamptz not null,
  ends timestamptz not null,
  state text not null constraint appointment_state_check check (state in ('offered', 'confirmed', 'asked', 'late', 'missed', 'held', 'cancelled')),
  version int not null constraint appointment_version_check check (version >= 1),
  revision int not null constraint appointment_revision_check check (revision >= 1),
  wish text not null constraint appointment_wish_check check (length(wish) <= 500),
  late_minutes int not null constraint appointment_late_minutes_check check (late_minutes between 0 and 240),
  made_at timestamptz not null,
  changed_at timestamptz not null,
  constraint appointment_times_check check (ends - begins between interval '15 minutes' and interval '3 hours'),
  constraint appointment_trainer_excl exclude using gist (trainer_id with =, tstzrange(begins, ends) with &&)
    where (state in ('offered', 'confirmed', 'asked', 'late', 'held')),
  constraint appointment_dog_excl exclude using gist (dog_id with =, tstzrange(begins, ends) with &&)
    where (state in ('offered', 'confirmed', 'asked', 'late', 'held'))
);
create unique index appointment_stay_open_key on handover.appointment (stay_id)
  where purpose = 'handover' and state in ('offered', 'confirmed', 'asked', 'late', 'missed');
create unique index appointment_request_open_key on handover.appointment (request_id)
  where purpose = 'handover' and state in ('offered', 'confirmed', 'asked', 'late', 'missed');
create index appointment_site_begins_idx on handover.appointment (site_id, begins);
create index appointment_request_idx on handover.appointment (request_id);
comment on table handover.appointment is 'An appointment with an owner. No row is deleted. A stay has one open handover, and a trainer and a dog one appointment at a time. version rises with each change that an owner notices, revision with every one. The stay may be replaced by another of the same request.';

create table handover.offer (
  id uuid constraint offer_pkey primary key,
  appointment_id uuid not null constraint offer_appointment_fkey references handover.appointment,
  trainer_id uuid not null constraint offer_trainer_fkey references roster.trainer,
  area_id uuid constraint offer_area_fkey references facility.area,
  gate text not null,
  begins timestamptz not null,
  ends timestamptz not null constraint offer_times_check check (ends > begins),
  state text not null constraint offer_state_check check (state in ('open', 'taken', 'withdrawn')),
  made_at timestamptz not null,
  ended_at timestamptz constraint offer_ended_check check ((ended_at is null) = (state = 'open'))
);
create unique index offer_open_key on handover.offer (appointment_id, begins, trainer_id) where state = 'open';
comment on table handover.offer is 'Another time that an owner may choose. It is held for nobody: choosing it looks again whether it is free.';

create table handover.change (
  appointment_id uuid not null constraint change_appointment_fkey references handover.appointment,
  revision int not null,
  changed_at timestamptz not null,
  changed_by text not null,
  act text not null,
  before jsonb,
  after jsonb not null,
  why text not null,
  constraint change_pkey primary key (appointment_id, revision)
);
comment on table handover.change is 'Audit trail: who changed an appointment, when, from what to what and why. No row is changed or deleted.';

create table handover.link (
  id uuid constraint link_pkey primary key,
  request_id uuid not null constraint link_request_fkey references enrollment.request,
  token_hash bytea not null constraint link_token_hash_key unique
    constraint link_token_hash_check check (octet_length(token_hash) = 32),
  made_at timestamptz not null,
  made_by text not null,
  expires_at timestamptz not null constraint link_expires_check check (expires_at > made_at),
  shut_at timestamptz,
  shut_by text,
  constraint link_shut_check check ((shut_at is null) = (shut_by is null))
);
create index link_request_idx on handover.link (request_id);
comment on table handover.link is 'A private address of the page on which an owner sees one stay''s appointments, of which the SHA-256 alone is kept. No row is deleted.';
