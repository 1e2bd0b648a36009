-- Keeps a side of a bundle. Reads the registered frame new_families (columns of bundle_families). $checksum.
insert into bundle_families
select $checksum, symptom, suspect, family, possible, tickets from new_families;
