-- Keeps the cells of a bundle. Reads the registered frame new_cells (columns of bundle_cells). $checksum.
insert into bundle_cells
select $checksum, symptom, family, age_band, suspect, confirmation, results, others, tickets from new_cells;
