-- +goose Up
create schema training;
comment on schema training is 'The skill ladder, what programs ask of it, and the log of training sessions.';

create table training.skill (
  id uuid constraint skill_pkey primary key,
  code text not null constraint skill_code_key unique,
  name text not null,
  about text not null,
  with_name boolean not null,
  sort_order int not null constraint skill_sort_order_check check (sort_order between 0 and 1000)
);
comment on table training.skill is 'A rung of the ladder: how it is done, and whether the dog''s name is said with the command. Lower sort orders come first.';

create table training.target (
  program_id uuid not null constraint target_program_fkey references enrollment.program,
  skill_id uuid not null constraint target_skill_fkey references training.skill,
  trials_percent int not null constraint target_trials_percent_check check (trials_percent between 1 and 100),
  hold_seconds int not null constraint target_hold_check check (hold_seconds between 0 and 3600),
  distance_cm int not null constraint target_distance_check check (distance_cm between 0 and 50000),
  distraction int not null constraint target_distraction_check check (distraction between 0 and 3),
  constraint target_pkey primary key (program_id, skill_id)
);
comment on table training.target is 'What a program asks of a skill by graduation day: share of trials passed, hold, distance, distraction. 0 asks for nothing.';

create table training.session (
  id uuid constraint session_pkey primary key,
  dog_id uuid not null constraint session_dog_fkey references enrollment.dog,
  trainer_id uuid not null constraint session_trainer_fkey references roster.trainer,
  skill_id uuid not null constraint session_skill_fkey references training.skill,
  trained_at timestamptz not null,
  arrived_at timestamptz not null,
  day date not null,
  trials int not null constraint session_trials_check check (trials between 0 and 1000),
  successes int not null,
  hold_seconds int not null constraint session_hold_check check (hold_seconds between 0 and 3600),
  distance_cm int not null constraint session_distance_check check (distance_cm between 0 and 50000),
  distraction int not null constraint session_distraction_check check (distraction between 0 and 3),
  settled int constraint session_settled_check check (settled between 0 and 3),
  note text not null constraint session_note_check check (length(note) <= 500),
  logged_by text not null,
  replaces_id uuid constraint session_replaces_fkey references training.session
    constraint session_replaces_key unique
    constraint session_replaces_check check (replaces_id <> id),
  constraint session_successes_check check (successes between 0 and trials)
);
create index session_dog_day_idx on training.session (dog_id, day);
comment on table training.session is 'What was trained, as it was logged; no row is changed or deleted. The ID is the key that the sender made, so that a session arrives once. A correction replaces one other row, and what no row replaces counts. trained_at is the device''s clock, arrived_at the server''s.';
