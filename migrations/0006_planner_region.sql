-- +goose Up
create table planner.division (
  plan_id uuid constraint division_pkey primary key constraint division_plan_fkey references planner.plan,
  inputs bytea not null,
  fingerprint text not null,
  settled int not null
);
comment on table planner.division is 'A draft that is made in regions: the inputs that all of them plan from, as compressed JSON, and how many requests stand already. Gone when the draft ends.';

create table planner.region (
  plan_id uuid not null constraint region_division_fkey references planner.division on delete cascade,
  number int not null,
  part jsonb not null,
  problem bytea not null,
  start jsonb not null,
  attempt int not null default 0,
  phase text not null default '',
  value bigint not null default 0,
  bound bigint not null,
  placed int not null default 0,
  seconds double precision not null default 0,
  solution jsonb,
  constraint region_pkey primary key (plan_id, number)
);
comment on table planner.region is 'A part of a draft that shares no site, trainer or household with the others, as a problem for one job; solution is absent until it is solved. Gone when the draft ends.';
