-- Rows in quarantine, newest file first. No parameters.
-- file_hash; line: physical line of the file; name: of the file; reason_code; reason; cells: JSON, header -> text.
select quarantine.file_hash, quarantine.line, raw_files.name, quarantine.reason_code, quarantine.reason,
       raw_rows.cells::varchar as cells
from quarantine
join raw_files using (file_hash)
join raw_rows using (file_hash, line)
where quarantine.released_at is null
order by raw_files.read_at desc, quarantine.file_hash, quarantine.line;
