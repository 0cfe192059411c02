-- Findings: what was computed from captures.

create table finding (
	rid         integer primary key,
	capture_rid integer not null,
	quantity    text not null,
	value_k     real,               -- null: not a temperature
	u_k         real                -- standard uncertainty, null: not evaluated
) strict;
create index finding_capture on finding (capture_rid);
