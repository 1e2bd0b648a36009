-- Rows of bundles that no longer count.
delete from bundle_minutes where checksum not in (select checksum from bundles where state = 'current');
