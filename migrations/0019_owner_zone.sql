-- +goose Up
alter table enrollment.owner add column zone text not null default '';
alter table enrollment.owner alter column zone drop default;
comment on column enrollment.owner.zone is 'IANA time zone of the owner''s home; empty where it is not known, and then the site''s counts.';
