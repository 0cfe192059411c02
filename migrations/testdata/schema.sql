CREATE TABLE artefact (
	rid         integer primary key,
	form        text not null,
	smallest_um real not null,
	largest_um  real not null,
	due_on      text,
	condition   text not null
) strict;
CREATE TABLE body (
	seq   integer primary key references entry (seq) on delete restrict,
	salt  blob not null,
	bytes blob not null,            -- canonical JSON of the record as of this entry
	constraint body_salt check (length(salt) = 16)
) strict;
CREATE TRIGGER body_append before insert on body
when exists (select 1 from body where seq = new.seq)
	or new.seq is not (select max(seq) from entry)
begin select raise(abort, 'the journal is append-only'); end;
CREATE TRIGGER body_no_delete before delete on body
begin select raise(abort, 'the journal is append-only'); end;
CREATE TRIGGER body_no_update before update on body
begin select raise(abort, 'the journal is append-only'); end;
CREATE TABLE camera (
	rid             integer primary key,
	pixels_x        integer not null,
	pixels_y        integer not null,
	pitch_um        real not null,
	band_low_um     real not null,
	band_high_um    real not null,
	focal_length_mm real not null,
	f_number        real not null,
	cost_minor      integer,
	cost_currency   text,
	condition       text not null
) strict;
CREATE TABLE capture (
	rid            integer primary key,
	specimen_rid   integer,
	artefact_rid   integer,
	setup_rid      integer not null,
	setup_revision integer not null,
	purpose        text not null,
	occurred       text not null,   -- as the operator says, '' not stated
	power_w        real,
	ambient_k      real,
	hottest_k      real,            -- apparent, of the frames in degrees
	missing        text not null,   -- conditions not recorded, '' none
	constraint capture_subject check ((specimen_rid is null) <> (artefact_rid is null))
) strict;
CREATE TABLE capture_file (
	rid      integer not null,
	position integer not null,
	sha256   text not null,
	size     integer not null,
	name     text not null,
	primary key (rid, position)
) strict, without rowid;
CREATE INDEX capture_file_sha256 on capture_file (sha256);
CREATE INDEX capture_missing on capture (rid) where missing <> '';
CREATE INDEX capture_setup on capture (setup_rid, setup_revision);
CREATE INDEX capture_specimen on capture (specimen_rid);
CREATE TABLE custody (
	rid          integer primary key,
	specimen_rid integer not null,
	event        text not null,
	place        text not null,
	occurred     text not null
) strict;
CREATE INDEX custody_specimen on custody (specimen_rid);
CREATE TABLE entry (
	seq  integer primary key,
	line blob not null,             -- canonical bytes of the entry, hashed as they stand
	hash blob not null unique,
	constraint entry_seq check (seq >= 1),
	constraint entry_hash check (length(hash) = 32)
) strict;
CREATE TRIGGER entry_append before insert on entry
when new.seq is not (select coalesce(max(seq), 0) + 1 from entry)
	or exists (select 1 from entry where hash = new.hash)
begin select raise(abort, 'the journal is append-only'); end;
CREATE TRIGGER entry_no_delete before delete on entry
begin select raise(abort, 'the journal is append-only'); end;
CREATE TRIGGER entry_no_update before update on entry
begin select raise(abort, 'the journal is append-only'); end;
CREATE TABLE expense (
	rid           integer primary key,
	cost_minor    integer not null,
	cost_currency text not null,
	occurred      text not null,
	part_rid      integer
) strict;
CREATE TABLE finding (
	rid         integer primary key,
	capture_rid integer not null,
	quantity    text not null,
	value_k     real,               -- null: not a temperature
	u_k         real                -- standard uncertainty, null: not evaluated
) strict;
CREATE INDEX finding_capture on finding (capture_rid);
CREATE TABLE instrument (
	rid       integer primary key,
	form      text not null,
	serial    text not null,
	due_on    text,                 -- of the latest calibration
	condition text not null
) strict;
CREATE TABLE lens (
	rid             integer primary key,
	material        text not null,
	form            text not null,
	diameter_mm     real not null,
	cost_minor      integer,
	cost_currency   text,
	on_hand         integer,
	condition       text not null
) strict;
CREATE TABLE outcome (
	rid           integer primary key,
	result        text not null,
	capture_rid   integer,
	specimen_rid  integer,
	question      integer not null,
	cost_minor    integer,
	cost_currency text,
	occurred      text not null,
	withdrawn     integer not null
) strict;
CREATE INDEX outcome_capture on outcome (capture_rid);
CREATE INDEX outcome_result on outcome (result);
CREATE INDEX outcome_specimen on outcome (specimen_rid) where specimen_rid is not null;
CREATE TABLE preparation (
	rid          integer primary key,
	specimen_rid integer not null,
	step         text not null,
	occurred     text not null
) strict;
CREATE INDEX preparation_specimen on preparation (specimen_rid);
CREATE TABLE project (
	rid             integer primary key,
	client          text not null,
	nda             integer not null,
	closed          integer not null,
	budget_minor    integer,
	budget_currency text
) strict;
CREATE TABLE record (
	rid         integer primary key,
	id          text not null unique,
	kind        text not null,
	number      integer not null,
	name        text,               -- as given, null when none
	name_folded text,               -- for looking it up without regard to case
	project_rid integer,            -- null: library
	revision    integer not null,   -- the newest
	head_seq    integer not null,   -- entry of the newest revision
	constraint record_number unique (kind, number)
) strict;
CREATE UNIQUE INDEX record_name on record (kind, name_folded) where name_folded is not null;
CREATE INDEX record_project on record (project_rid, kind);
CREATE TABLE resolution (
	rid            integer primary key,  -- of the outcome
	setup_rid      integer not null,
	setup_revision integer not null,
	capture_rid    integer not null,
	artefact_rid   integer,
	feature_um     real not null,
	feature_u_um   real,             -- standard uncertainty, null: not evaluated
	feature        text not null,    -- in words
	judged         text not null,
	withdrawn      integer not null
, strength integer not null default 0) strict;
CREATE INDEX resolution_strength on resolution (setup_rid, strength, feature_um) where withdrawn = 0;
CREATE TABLE revision (
	rid      integer not null,
	revision integer not null,
	seq      integer not null,
	primary key (rid, revision)
) strict, without rowid;
CREATE TABLE setup (
	rid                 integer not null,
	revision            integer not null,
	camera_rid          integer not null,
	focus_mm            real,       -- null: infinity
	wavelength_um       real not null,
	efl_mm              real not null,
	working_distance_mm real not null,
	magnification       real not null,
	object_pixel_um     real not null,
	field_x_mm          real not null,
	field_y_mm          real not null,
	na_object           real not null,
	rayleigh_um         real not null,
	sampling_um         real not null,
	predicted_um        real not null,
	costs               text not null,  -- of its parts, a total a currency
	primary key (rid, revision)
) strict, without rowid;
CREATE TABLE setup_part (
	rid           integer not null,
	revision      integer not null,
	position      integer not null,
	lens_rid      integer not null,
	lens_revision integer not null,
	flipped       integer not null,
	gap_after_mm  real not null,
	primary key (rid, revision, position)
) strict, without rowid;
CREATE INDEX setup_part_lens on setup_part (lens_rid);
CREATE TABLE specimen (
	rid               integer primary key,
	form              text not null,
	beryllia          text not null,
	cut_from_rid      integer,
	worth_minor       integer,
	worth_currency    text,
	max_power_w       real,
	max_temperature_k real
) strict;
