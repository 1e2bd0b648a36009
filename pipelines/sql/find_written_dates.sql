-- Different dates with / in one file, as written: they decide whether day or month comes first.
-- $file_hash, $opened_header, $closed_header.
-- written.
select distinct trim(written) as written
from (
    select unnest([cells ->> $opened_header, cells ->> $closed_header]) as written
    from raw_rows
    where file_hash = $file_hash
)
where contains(written, '/')
order by written;
