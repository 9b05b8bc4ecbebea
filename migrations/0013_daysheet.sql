-- +goose Up
create table enrollment.vet (
  dog_id uuid constraint vet_pkey primary key constraint vet_dog_fkey references enrollment.dog,
  name text not null,
  phone text not null constraint vet_phone_check check (phone <> '')
);
comment on table enrollment.vet is 'The veterinarian whom the owner names for a dog, to be called before anybody else.';

create table enrollment.medicine (
  dog_id uuid not null constraint medicine_dog_fkey references enrollment.dog,
  medicine text not null,
  first_day date not null,
  last_day date constraint medicine_last_day_check check (last_day >= first_day),
  dose text not null,
  times time[] not null constraint medicine_times_check check (cardinality(times) > 0),
  with_food boolean not null,
  note text not null,
  constraint medicine_pkey primary key (dog_id, medicine, first_day)
);
comment on table enrollment.medicine is 'A medicine that a dog is to get from first_day to last_day, both included, at local times of the site; without a last day until further notice. As the owner or a veterinarian wrote it.';

create table enrollment.feeding (
  dog_id uuid constraint feeding_pkey primary key constraint feeding_dog_fkey references enrollment.dog,
  note text not null constraint feeding_note_check check (note <> '')
);
comment on table enrollment.feeding is 'What is to be known about feeding a dog.';

create table enrollment.bite (
  dog_id uuid not null constraint bite_dog_fkey references enrollment.dog,
  day date not null,
  level text not null constraint bite_level_check check (level in ('1', '2', '3', '3b', '4', '5', '6')),
  note text not null,
  constraint bite_pkey primary key (dog_id, day)
);
comment on table enrollment.bite is 'A bite of a dog and its day. enrollment.dog.bite_level stays the worst level on record, also of bites whose day nobody knows.';

create schema daysheet;
comment on schema daysheet is 'The private addresses of trainers'' calendar feeds. Day sheets themselves are not kept: they are made from the live plan.';

create table daysheet.feed (
  id uuid constraint feed_pkey primary key,
  trainer_id uuid not null constraint feed_trainer_fkey references roster.trainer,
  token_hash bytea not null constraint feed_token_hash_key unique
    constraint feed_token_hash_check check (octet_length(token_hash) = 32),
  made_at timestamptz not null,
  made_by text not null,
  revoked_at timestamptz,
  revoked_by text,
  last_read date,
  constraint feed_revoked_check check ((revoked_at is null) = (revoked_by is null))
);
comment on table daysheet.feed is 'A calendar feed of a trainer behind a private address, of which the SHA-256 alone is kept. No row is deleted. last_read is the latest day, in the zone of the trainer''s home site, on which somebody read it.';
