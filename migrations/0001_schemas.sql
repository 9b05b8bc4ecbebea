-- +goose Up
-- One schema for each service: a table is named in one Go package only, and the schema's name shows whose it is.
create extension if not exists btree_gist;
create schema facility;
create schema roster;
create schema enrollment;
create schema planner;
comment on schema facility is 'Sites, runs, closures, training areas, intake and handover places.';
comment on schema roster is 'Trainers, weekly patterns, absences, loans and work rules.';
comment on schema enrollment is 'Owners, dogs, programs, requests and what is known of each dog.';
comment on schema planner is 'Month plans, the stays that were promised, and the preference policy.';
