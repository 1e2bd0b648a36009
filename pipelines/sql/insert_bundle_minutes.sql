-- Keeps a side of a bundle. Reads the registered frame new_minutes (columns of bundle_minutes). $checksum.
insert into bundle_minutes
select $checksum, "check", tickets, mean_log, spread_log from new_minutes;
