-- +goose Up
alter table facility.site
  add column heat_closed_f int not null default 0 constraint site_heat_closed_check check (heat_closed_f = 0 or heat_closed_f between 40 and 90),
  add column heat_sensitive_f int not null default 0 constraint site_heat_sensitive_check check (heat_sensitive_f = 0 or heat_sensitive_f between 40 and 90);
comment on column facility.site.heat_closed_f is 'Work outdoors is closed above this heat index, in degrees Fahrenheit; 0 is the default.';
comment on column facility.site.heat_sensitive_f is 'The same for dogs at special risk.';

alter table facility.area add column outdoors boolean;
update facility.area set outdoors = kind in ('yard', 'field');
alter table facility.area alter column outdoors set not null, alter column outdoors set default true;
comment on column facility.area.outdoors is 'Whether heat closes it; of an area of which nobody says, it does.';

create table facility.area_closure (
  id uuid constraint area_closure_pkey primary key,
  area_id uuid not null constraint area_closure_area_fkey references facility.area,
  starts_at timestamptz not null,
  ends_at timestamptz not null,
  reason text not null,
  constraint area_closure_area_starts_key unique (area_id, starts_at),
  constraint area_closure_ends_check check (ends_at > starts_at)
);
comment on table facility.area_closure is 'When a training area is out of use, and why. Two that overlap close it for both.';

create table facility.forecast (
  site_id uuid not null constraint forecast_site_fkey references facility.site,
  hour timestamptz not null,
  temperature_tenths int not null,
  unit text not null constraint forecast_unit_check check (unit in ('F', 'C')),
  humidity int not null constraint forecast_humidity_check check (humidity between 0 and 100),
  source text not null,
  constraint forecast_pkey primary key (site_id, hour)
);
comment on table facility.forecast is 'Weather that a person expects at a site in the hour from this instant on: temperature in tenths of a degree of the unit, relative humidity in percent.';

create table enrollment.trait (
  dog_id uuid constraint trait_pkey primary key constraint trait_dog_fkey references enrollment.dog,
  flat_faced text not null constraint trait_flat_faced_check check (flat_faced in ('', 'yes', 'no')),
  overweight text not null constraint trait_overweight_check check (overweight in ('', 'yes', 'no')),
  two_people text not null constraint trait_two_people_check check (two_people in ('', 'yes', 'no'))
);
comment on table enrollment.trait is 'What matters of a dog on its working day: heat, and whether two people must be with it. Empty is not recorded.';

create table enrollment.apart (
  dog_id uuid not null constraint apart_dog_fkey references enrollment.dog,
  other_id uuid not null constraint apart_other_fkey references enrollment.dog,
  reason text not null,
  constraint apart_pkey primary key (dog_id, other_id),
  constraint apart_order_check check (dog_id < other_id)
);
comment on table enrollment.apart is 'Two dogs that must not meet. Each pair stands here once, the smaller ID first.';

alter table dayplan.block
  add column second_trainer_id uuid constraint block_second_fkey references roster.trainer,
  add constraint block_second_check check (second_trainer_id <> trainer_id),
  add constraint block_second_excl exclude using gist (plan_id with =, second_trainer_id with =, during with &&);
comment on column dayplan.block.second_trainer_id is 'The second person, for a dog that two must be with. That nobody is the trainer of one block and the second of another at once no constraint can say; the planner keeps it.';
