-- Of all current bundles and packs. Columns of bundle_minutes, contributor, kind.
select bundle_minutes.*, bundles.contributor, bundles.kind
from bundle_minutes
join bundles using (checksum)
where bundles.state = 'current'
order by all;
