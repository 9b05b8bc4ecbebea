-- +goose Up
create table roster.trainer (
  id uuid constraint trainer_pkey primary key,
  code text not null constraint trainer_code_key unique,
  name text not null,
  email text not null,
  home_site_id uuid not null constraint trainer_home_site_fkey references facility.site,
  minutes_a_day int not null constraint trainer_minutes_a_day_check check (minutes_a_day between 0 and 720),
  most_dogs int not null constraint trainer_most_dogs_check check (most_dogs between 0 and 20),
  care_classes text[] not null constraint trainer_care_classes_check check (care_classes <@ array['open', 'guarded', 'restricted'])
);
comment on table roster.trainer is 'A trainer, with handling minutes on a working day and most dogs in hand.';

create table roster.trainer_skill (
  trainer_id uuid not null constraint trainer_skill_trainer_fkey references roster.trainer,
  skill text not null constraint trainer_skill_skill_check check (skill in ('heel', 'hold', 'recall', 'distance', 'nerves', 'reactivity')),
  level int not null constraint trainer_skill_level_check check (level between 1 and 3),
  constraint trainer_skill_pkey primary key (trainer_id, skill)
);
comment on table roster.trainer_skill is 'Level of each skill that a trainer holds.';

create table roster.shift (
  trainer_id uuid not null constraint shift_trainer_fkey references roster.trainer,
  weekday int not null constraint shift_weekday_check check (weekday between 1 and 7),
  site_id uuid not null constraint shift_site_fkey references facility.site,
  starts time not null,
  ends time not null,
  meal_minutes int not null constraint shift_meal_minutes_check check (meal_minutes between 0 and 180),
  constraint shift_pkey primary key (trainer_id, weekday)
);
comment on table roster.shift is 'Weekly pattern: one shift a weekday at most; one that ends at or before its start runs past midnight.';

create table roster.absence (
  id uuid constraint absence_pkey primary key,
  trainer_id uuid not null constraint absence_trainer_fkey references roster.trainer,
  days daterange not null constraint absence_days_check check (not isempty(days) and not lower_inf(days) and not upper_inf(days)),
  kind text not null constraint absence_kind_check check (kind in ('leave', 'sickness', 'duty')),
  constraint absence_trainer_days_excl exclude using gist (trainer_id with =, days with &&)
);
comment on table roster.absence is 'Days on which a trainer is away; nothing about an illness is kept.';

create table roster.loan (
  id uuid constraint loan_pkey primary key,
  trainer_id uuid not null constraint loan_trainer_fkey references roster.trainer,
  site_id uuid not null constraint loan_site_fkey references facility.site,
  days daterange not null constraint loan_days_check check (not isempty(days) and not lower_inf(days) and not upper_inf(days)),
  constraint loan_trainer_days_excl exclude using gist (trainer_id with =, days with &&)
);
comment on table roster.loan is 'Days on which a trainer works at another site than the weekly pattern says.';

create table roster.work_rule (
  site_id uuid not null constraint work_rule_site_fkey references facility.site,
  daily_rest_minutes int not null constraint work_rule_daily_rest_check check (daily_rest_minutes between 0 and 1440),
  meal_after_minutes int not null constraint work_rule_meal_after_check check (meal_after_minutes between 0 and 1440),
  meal_minutes int not null constraint work_rule_meal_check check (meal_minutes between 0 and 180),
  weekly_minutes int not null constraint work_rule_weekly_check check (weekly_minutes between 0 and 10080),
  weekly_rest_minutes int not null constraint work_rule_weekly_rest_check check (weekly_rest_minutes between 0 and 10080),
  citation text not null,
  constraint work_rule_pkey primary key (site_id)
);
comment on table roster.work_rule is 'Working-time settings of a site with the citation they are from; 0 turns a rule off.';
