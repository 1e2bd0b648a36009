-- The first rows in quarantine, newest file first. $row_limit.
-- total: rows waiting altogether; file_hash; line; name: of the file; file_shop: given when it was read; reason_code;
-- reason; cells: JSON, header -> text.
with waiting as (
    select file_hash, line, reason_code, reason from quarantine where released_at is null
),
shown as materialized (
    select waiting.*, raw_files.name, raw_files.shop as file_shop, raw_files.read_at
    from waiting join raw_files using (file_hash)
    order by raw_files.read_at desc, file_hash, line
    limit $row_limit
)
select (select count(*) from waiting) as total, file_hash, line, name, file_shop, reason_code, reason,
       raw_rows.cells::varchar as cells
from shown
join raw_rows using (file_hash, line)
order by read_at desc, file_hash, line;
