-- How a resolved feature is known: 0 by statement, 1 on an artefact of known size,
-- 2 measured on a frame of one.

alter table resolution add column strength integer not null default 0;
update resolution set strength = 1 where artefact_rid is not null;
create index resolution_strength on resolution (setup_rid, strength, feature_um) where withdrawn = 0;
drop index resolution_setup;
