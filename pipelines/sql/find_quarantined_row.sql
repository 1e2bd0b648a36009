-- One row in quarantine that no correction has released. $file_hash, $line.
-- cells: JSON, header -> text; reason; file_shop: shop given when the file was read.
select raw_rows.cells::varchar as cells, quarantine.reason, raw_files.shop as file_shop
from quarantine
join raw_rows using (file_hash, line)
join raw_files using (file_hash)
where quarantine.file_hash = $file_hash and quarantine.line = $line and quarantine.released_at is null;
