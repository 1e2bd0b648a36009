-- Rows of bundles that no longer count.
delete from bundle_checks where checksum not in (select checksum from bundles where state = 'current');
