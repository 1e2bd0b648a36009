-- Of all current bundles and packs. Columns of bundle_checks, contributor, kind.
select bundle_checks.*, bundles.contributor, bundles.kind
from bundle_checks
join bundles using (checksum)
where bundles.state = 'current'
order by all;
