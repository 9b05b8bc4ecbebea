-- +goose Up
create schema readiness;
comment on schema readiness is 'What is typical of the dogs of a program.';

create table readiness.pace (
  program_id uuid not null constraint pace_program_fkey references enrollment.program,
  set_at timestamptz not null,
  set_by text not null,
  note text not null constraint pace_note_check check (length(note) between 3 and 500),
  share_start double precision not null constraint pace_share_start_check check (share_start between 0.001 and 0.999),
  share_start_spread double precision not null constraint pace_share_start_spread_check check (share_start_spread between 0.05 and 3),
  theta double precision not null constraint pace_theta_check check (theta between 0.001 and 0.9),
  theta_spread double precision not null constraint pace_theta_spread_check check (theta_spread between 0.05 and 3),
  hold_start double precision not null constraint pace_hold_start_check check (hold_start between 0.5 and 3600),
  hold_start_spread double precision not null constraint pace_hold_start_spread_check check (hold_start_spread between 0.05 and 3),
  hold_growth double precision not null constraint pace_hold_growth_check check (hold_growth between 0.001 and 2),
  hold_growth_spread double precision not null constraint pace_hold_growth_spread_check check (hold_growth_spread between 0.05 and 3),
  constraint pace_pkey primary key (program_id, set_at)
);
comment on table readiness.pace is 'The pace that readiness takes to be typical of a program, as a person set it; the latest counts, none is changed or deleted. A program without one has the built-in default.';
