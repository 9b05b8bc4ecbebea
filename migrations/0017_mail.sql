-- +goose Up
create schema mail;
comment on schema mail is 'Letters to owners: what was put, what became of it, and the texts that the school has changed.';

create table mail.letterhead (
  set_at timestamptz constraint letterhead_pkey primary key,
  set_by text not null,
  name text not null constraint letterhead_name_check check (length(name) between 1 and 100),
  address text not null constraint letterhead_address_check check (address like '%_@_%'),
  phone text not null,
  quiet_from time not null,
  quiet_until time not null
);
comment on table mail.letterhead is 'Who letters come from, and the hours of the owner''s clock in which none is sent; equal times mean no such hours. The latest row counts, none is changed or deleted.';

create table mail.template (
  kind text not null,
  saved_at timestamptz not null,
  saved_by text not null,
  subject text,
  body text,
  constraint template_pkey primary key (kind, saved_at),
  constraint template_text_check check ((subject is null) = (body is null))
);
comment on table mail.template is 'A kind of letter in the school''s own words; the latest row of a kind counts. One without words says that the built-in text is back in use. None is changed or deleted.';

create table mail.letter (
  id uuid constraint letter_pkey primary key,
  key text not null constraint letter_key_check check (key <> ''),
  kind text not null,
  version int not null constraint letter_version_check check (version >= 0),
  copy int not null constraint letter_copy_check check (copy >= 0),
  message_id text not null constraint letter_message_id_key unique,
  from_name text not null,
  from_address text not null,
  to_name text not null,
  to_address text not null,
  domain text not null,
  zone text not null,
  subject text not null,
  body_text text not null,
  body_html text not null,
  calendar text,
  method text constraint letter_method_check check (method in ('REQUEST', 'CANCEL')),
  put_at timestamptz not null,
  due_at timestamptz not null,
  expires_at timestamptz,
  state text not null constraint letter_state_check check (state in ('waiting', 'sending', 'sent', 'superseded', 'expired', 'refused', 'bounced')),
  note text not null,
  attempts int not null,
  next_at timestamptz not null,
  queued_at timestamptz not null,
  taken_at timestamptz,
  slot_at timestamptz,
  dated_at timestamptz,
  superseded_at timestamptz,
  done_at timestamptz,
  content bytea,
  constraint letter_kind_key unique (key, kind, version, copy),
  constraint letter_calendar_check check ((calendar is null) = (method is null)),
  constraint letter_done_check check ((done_at is null) = (state in ('waiting', 'sending'))),
  constraint letter_content_check check ((content is not null) or (state not in ('sent', 'bounced')))
);
create index letter_open_idx on mail.letter (next_at) where state in ('waiting', 'sending');
create index letter_taken_idx on mail.letter (taken_at) where taken_at is not null;
create index letter_put_idx on mail.letter (put_at);
create index letter_to_idx on mail.letter (lower(to_address), put_at);
comment on table mail.letter is 'A letter to one person: its words as they were when it was put, and what became of it. content is the message as a server took it, byte by byte. next_at is its turn: when it is worth trying, queued_at when its latest job was inserted, taken_at when a worker took it up, slot_at its turn among letters to the same domain. No row is deleted.';

create table mail.attempt (
  letter_id uuid not null constraint attempt_letter_fkey references mail.letter,
  at timestamptz not null,
  outcome text not null constraint attempt_outcome_check check (outcome in ('sent', 'put off', 'refused', 'bounced', 'delayed')),
  answer text not null,
  constraint attempt_pkey primary key (letter_id, at)
);
comment on table mail.attempt is 'What became of an attempt to send a letter, and later reports on it, with the words of the server that told it.';

create table mail.provider (
  domain text constraint provider_pkey primary key,
  full_at timestamptz not null
);
comment on table mail.provider is 'How far the turns of letters to a domain are given away: the next turn comes after full_at, less what may be sent at once.';
