-- Cells of all current bundles and packs. Columns of bundle_cells, contributor, kind, noise_variance.
select bundle_cells.*, bundles.contributor, bundles.kind, bundles.noise_variance
from bundle_cells
join bundles using (checksum)
where bundles.state = 'current'
order by all;
