-- Keeps a side of a bundle. Reads the registered frame new_checks (columns of bundle_checks). $checksum.
insert into bundle_checks
select $checksum, "check", place, outcome, tickets from new_checks;
