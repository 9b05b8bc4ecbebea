-- +goose Up
create schema people;
comment on schema people is 'People who sign in: who they are, what they may do, and their open sign-ins.';

create table people.person (
  id uuid constraint person_pkey primary key,
  login text not null constraint person_login_key unique constraint person_login_check check (login ~ '^[a-z0-9][a-z0-9._@+-]{0,59}$'),
  name text not null constraint person_name_check check (length(name) between 1 and 100),
  role text not null constraint person_role_check check (role in ('manager', 'site-lead', 'trainer', 'office', 'viewer')),
  site_code text not null constraint person_site_check check (length(site_code) <= 100),
  trainer_code text not null constraint person_trainer_check check (length(trainer_code) <= 100),
  password_hash text not null constraint person_password_check check (password_hash like '$argon2id$%'),
  must_change boolean not null,
  made_at timestamptz not null,
  disabled_at timestamptz
);
comment on table people.person is 'A person who may sign in. site_code and trainer_code say which site and which trainer''s day are theirs; empty where none is. Nobody is deleted: disabled_at shuts the door.';

create table people.session (
  secret_hash bytea constraint session_pkey primary key constraint session_hash_check check (length(secret_hash) = 32),
  person_id uuid not null constraint session_person_fkey references people.person,
  made_at timestamptz not null,
  seen_at timestamptz not null,
  expires_at timestamptz not null,
  constraint session_order_check check (made_at <= seen_at and seen_at < expires_at)
);
create index session_person_idx on people.session (person_id);
comment on table people.session is 'An open sign-in. The secret is in the browser alone, here is its SHA-256. seen_at is written at most once in five minutes and moves expires_at on, up to a limit from made_at. Rows go when somebody signs out.';

create table people.attempt (
  key_hash bytea constraint attempt_pkey primary key constraint attempt_hash_check check (length(key_hash) = 32),
  failures int not null constraint attempt_failures_check check (failures >= 0),
  last_at timestamptz not null,
  next_at timestamptz not null
);
create index attempt_last_idx on people.attempt (last_at);
comment on table people.attempt is 'Sign-ins that failed, counted for each login and for each address they came from, both as SHA-256: people write passwords where the login belongs. Until next_at none is tried.';

create table people.change (
  person_id uuid not null constraint change_person_fkey references people.person,
  at timestamptz not null,
  number bigint generated always as identity,
  what text not null constraint change_what_check check (what in ('added', 'changed', 'password set', 'password changed', 'disabled', 'enabled')),
  by_name text not null,
  before jsonb,
  after jsonb,
  constraint change_pkey primary key (person_id, number)
);
comment on table people.change is 'Who changed what of a person, and when. Passwords stand in no form here. Rows are only added.';
