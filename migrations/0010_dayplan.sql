-- +goose Up
create schema dayplan;
comment on schema dayplan is 'Plans of a site''s day: who works with which dog where and when.';

create table dayplan.plan (
  id uuid constraint plan_pkey primary key,
  site_id uuid not null constraint plan_site_fkey references facility.site,
  day date not null,
  number int not null,
  state text not null constraint plan_state_check check (state in ('live', 'replaced')),
  made_at timestamptz not null,
  made_by text not null,
  seed bigint not null,
  seconds double precision not null,
  fingerprint text not null,
  value bigint not null,
  bound bigint not null,
  dogs int not null,
  notes text[] not null,
  constraint plan_number_key unique (site_id, day, number),
  constraint plan_bound_check check (bound >= value)
);
create unique index plan_live_key on dayplan.plan (site_id, day) where state = 'live';
comment on table dayplan.plan is 'A plan of a day at a site. One of each site and day is live; those it replaced are kept. The fingerprint is a digest of all that it was made from.';

create table dayplan.block (
  plan_id uuid not null constraint block_plan_fkey references dayplan.plan,
  dog_id uuid not null constraint block_dog_fkey references enrollment.dog,
  session int not null,
  trainer_id uuid not null constraint block_trainer_fkey references roster.trainer,
  own boolean not null,
  area_id uuid not null constraint block_area_fkey references facility.area,
  skill_id uuid constraint block_skill_fkey references training.skill,
  during tstzrange not null constraint block_during_check check (not isempty(during)),
  constraint block_pkey primary key (plan_id, dog_id, session),
  constraint block_trainer_excl exclude using gist (plan_id with =, trainer_id with =, during with &&),
  constraint block_dog_excl exclude using gist (plan_id with =, dog_id with =, during with &&)
);
comment on table dayplan.block is 'A session that is held: the dog''s session of the day (from 1), with whom, where, on what, when. Neither a trainer nor a dog has two at once.';

create table dayplan.pause (
  plan_id uuid not null constraint pause_plan_fkey references dayplan.plan,
  trainer_id uuid not null constraint pause_trainer_fkey references roster.trainer,
  kind text not null constraint pause_kind_check check (kind in ('meal', 'rest')),
  during tstzrange not null constraint pause_during_check check (not isempty(during)),
  constraint pause_pkey primary key (plan_id, trainer_id, during),
  constraint pause_trainer_excl exclude using gist (plan_id with =, trainer_id with =, during with &&)
);
comment on table dayplan.pause is 'A meal or short break of a trainer.';

create table dayplan.duty (
  plan_id uuid not null constraint duty_plan_fkey references dayplan.plan,
  dog_id uuid not null constraint duty_dog_fkey references enrollment.dog,
  kind text not null constraint duty_kind_check check (kind in ('intake', 'handover')),
  trainer_id uuid constraint duty_trainer_fkey references roster.trainer,
  during tstzrange not null constraint duty_during_check check (not isempty(during)),
  constraint duty_pkey primary key (plan_id, dog_id, kind),
  constraint duty_trainer_excl exclude using gist (plan_id with =, trainer_id with =, during with &&)
);
comment on table dayplan.duty is 'The arrival or handover of a dog, with the trainer who sees to it; none where nobody can.';

create table dayplan.dropped (
  plan_id uuid not null constraint dropped_plan_fkey references dayplan.plan,
  dog_id uuid not null constraint dropped_dog_fkey references enrollment.dog,
  session int not null,
  skill_id uuid constraint dropped_skill_fkey references training.skill,
  reason text not null,
  remedy text not null,
  constraint dropped_pkey primary key (plan_id, dog_id, session)
);
comment on table dayplan.dropped is 'A session of the day that is not held, why, and what would help.';
