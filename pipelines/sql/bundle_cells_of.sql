-- Cells of one bundle. $checksum. Columns of bundle_cells without the checksum.
select * exclude (checksum) from bundle_cells
where checksum = $checksum
order by all;
