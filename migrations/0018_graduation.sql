-- +goose Up
create schema graduation;
comment on schema graduation is 'When owners can come, when their reminders go, and whom no handover time was found for. Appointments are handover''s, letters mail''s.';

create table graduation.owner_time (
  request_id uuid not null constraint owner_time_request_fkey references enrollment.request,
  weekday int not null constraint owner_time_weekday_check check (weekday between 0 and 7),
  starts time not null,
  ends time not null constraint owner_time_ends_check check (ends > starts),
  liked boolean not null,
  constraint owner_time_pkey primary key (request_id, weekday, starts)
);
comment on table graduation.owner_time is 'When an owner can be at the site, local times, on weekday 1 (Monday) to 7, or 0 for any day. An owner without a row is taken to have time all day. liked says that the time suits best.';

create table graduation.reminder (
  site_id uuid not null constraint reminder_site_fkey references facility.site,
  letter text not null constraint reminder_letter_check check (letter in ('enrolment', 'arrival', 'week-before', 'day-before')),
  line text not null,
  days int not null constraint reminder_days_check check (days between 0 and 60),
  changed_at timestamptz not null,
  changed_by text not null,
  constraint reminder_pkey primary key (site_id, letter)
);
comment on table graduation.reminder is 'When a site''s letters of a kind go: a cron line of five fields by the site''s clocks, empty for never, and how many days ahead. A site without a row has the usual line.';

create table graduation.turn (
  site_id uuid not null constraint turn_site_fkey references facility.site,
  letter text not null,
  turned_at timestamptz not null,
  constraint turn_pkey primary key (site_id, letter)
);
comment on table graduation.turn is 'The latest turn of a reminder''s line that has been seen to. Letters are put in the same transaction, so that a turn is seen to as a whole or not at all.';

create table graduation.unplaced (
  request_id uuid constraint unplaced_pkey primary key constraint unplaced_request_fkey references enrollment.request,
  site_id uuid not null constraint unplaced_site_fkey references facility.site,
  day date not null,
  reason text not null,
  remedy text not null,
  found_at timestamptz not null
);
create index unplaced_site_idx on graduation.unplaced (site_id, day);
comment on table graduation.unplaced is 'A graduating dog for whose handover no time was found when it was last looked for, why, and what would help.';
