-- +goose Up
create table enrollment.owner (
  id uuid constraint owner_pkey primary key,
  code text not null constraint owner_code_key unique,
  name text not null,
  email text not null,
  phone text not null
);
comment on table enrollment.owner is 'The person who brings a dog and takes it home.';

create table enrollment.program (
  id uuid constraint program_pkey primary key,
  code text not null constraint program_code_key unique,
  name text not null,
  nights int not null constraint program_nights_check check (nights between 1 and 60),
  sessions_a_day int not null constraint program_sessions_check check (sessions_a_day between 1 and 8),
  session_minutes int not null constraint program_session_minutes_check check (session_minutes between 5 and 60),
  least_age_months int not null constraint program_least_age_check check (least_age_months between 0 and 120)
);
comment on table enrollment.program is 'What a dog is taken in for: nights, sessions a day and goals.';

create table enrollment.program_goal (
  program_id uuid not null constraint program_goal_program_fkey references enrollment.program,
  skill text not null constraint program_goal_skill_check check (skill in ('heel', 'hold', 'recall', 'distance', 'nerves', 'reactivity')),
  level int not null constraint program_goal_level_check check (level between 1 and 3),
  constraint program_goal_pkey primary key (program_id, skill)
);
comment on table enrollment.program_goal is 'Skill that a program teaches, and the level of trainer it asks for.';

create table enrollment.dog (
  id uuid constraint dog_pkey primary key,
  code text not null constraint dog_code_key unique,
  owner_id uuid not null constraint dog_owner_fkey references enrollment.owner,
  name text not null,
  breed text not null,
  breed_tier int not null constraint dog_breed_tier_check check (breed_tier between 0 and 6),
  hound boolean not null,
  sex text not null constraint dog_sex_check check (sex in ('female', 'male', 'spayed', 'neutered')),
  born date not null,
  weight_g int not null constraint dog_weight_check check (weight_g between 500 and 120000),
  length_mm int not null constraint dog_length_check check (length_mm between 100 and 1600),
  height_mm int not null constraint dog_height_check check (height_mm between 100 and 1300),
  bite_level text not null constraint dog_bite_level_check check (bite_level in ('', '1', '2', '3', '3b', '4', '5', '6')),
  season_started date,
  note text not null
);
comment on table enrollment.dog is 'A dog. Length from nose to base of tail, height at the head, as 9 CFR 3.6 measures. bite_level is text: 3b is a level.';

create table enrollment.vaccination (
  id uuid constraint vaccination_pkey primary key,
  dog_id uuid not null constraint vaccination_dog_fkey references enrollment.dog,
  vaccine text not null,
  given date not null,
  course text not null constraint vaccination_course_check check (course in ('primary', 'booster')),
  label_months int not null constraint vaccination_label_check check (label_months between 1 and 60),
  constraint vaccination_dog_vaccine_given_key unique (dog_id, vaccine, given)
);
comment on table enrollment.vaccination is 'A shot as it stands in the vaccination record; label_months is how long its label says it holds.';

create table enrollment.answer (
  dog_id uuid not null constraint answer_dog_fkey references enrollment.dog,
  question text not null,
  score int not null constraint answer_score_check check (score between 0 and 4),
  constraint answer_pkey primary key (dog_id, question)
);
comment on table enrollment.answer is 'Screening answers, 0 (never, none) to 4 (always, very much).';

create table enrollment.workload_override (
  id uuid constraint workload_override_pkey primary key,
  dog_id uuid not null constraint workload_override_dog_fkey references enrollment.dog,
  decided_at timestamptz not null,
  decided_by text not null,
  minutes int not null constraint workload_override_minutes_check check (minutes between 0 and 480),
  care_class text not null constraint workload_override_care_class_check check (care_class in ('', 'open', 'guarded', 'restricted')),
  reason text not null constraint workload_override_reason_check check (length(reason) >= 3),
  constraint workload_override_dog_decided_key unique (dog_id, decided_at)
);
comment on table enrollment.workload_override is 'A person''s word on what a dog takes; the latest counts, none is deleted. 0 minutes or an empty class leave what was worked out.';

create table enrollment.request (
  id uuid constraint request_pkey primary key,
  code text not null constraint request_code_key unique,
  dog_id uuid not null constraint request_dog_fkey references enrollment.dog,
  program_id uuid not null constraint request_program_fkey references enrollment.program,
  window_days daterange not null constraint request_window_check check (not isempty(window_days) and not lower_inf(window_days) and not upper_inf(window_days)),
  wished date,
  priority int not null constraint request_priority_check check (priority between 1 and 5),
  deposit boolean not null,
  asked_on date not null,
  household text not null,
  state text not null constraint request_state_check check (state in ('open', 'withdrawn')),
  note text not null
);
create index request_window_idx on enrollment.request using gist (window_days);
comment on table enrollment.request is 'An owner''s wish for a program; window_days holds the possible arrival days, half-open. Requests of one household come together.';

create table enrollment.request_site (
  request_id uuid not null constraint request_site_request_fkey references enrollment.request,
  site_id uuid not null constraint request_site_site_fkey references facility.site,
  travel_minutes int not null constraint request_site_travel_check check (travel_minutes between 0 and 1440),
  constraint request_site_pkey primary key (request_id, site_id)
);
comment on table enrollment.request_site is 'Sites that an owner accepts, with the travel from home.';
