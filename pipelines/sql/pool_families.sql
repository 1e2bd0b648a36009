-- Of all current bundles and packs. Columns of bundle_families, contributor, kind.
select bundle_families.*, bundles.contributor, bundles.kind
from bundle_families
join bundles using (checksum)
where bundles.state = 'current'
order by all;
