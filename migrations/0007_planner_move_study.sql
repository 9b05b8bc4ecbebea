-- +goose Up
create table planner.move_study (
  id uuid constraint move_study_pkey primary key,
  month date not null constraint move_study_month_check check (extract(day from month) = 1),
  state text not null constraint move_study_state_check check (state in ('working', 'done', 'cancelled', 'failed')),
  made_at timestamptz not null,
  made_by text not null,
  moves int[] not null,
  seconds_limit int not null,
  iterations_limit int not null,
  seed bigint not null,
  job_id bigint,
  attempt int not null default 0,
  phase text not null default '',
  percent_done int not null default 0,
  seconds double precision not null default 0,
  fingerprint text not null default '',
  result jsonb not null,
  failure text not null default ''
);
create index move_study_month_idx on planner.move_study (month, made_at);
comment on table planner.move_study is 'How much more a month could hold if promises moved. The result holds what people read of it: a point for each number of moves, with codes and names as they were.';
