-- Files whose rows are not all accounted for: rows in = tickets + quarantined (not released) + duplicates.
-- what: name of the file; reason.
with counted as (
    select
        file_hash, name, row_count,
        (select count(*) from raw_rows r where r.file_hash = f.file_hash) as raw_count,
        (select count(*) from tickets t where t.file_hash = f.file_hash) as ticket_count,
        (select count(*) from quarantine q where q.file_hash = f.file_hash and q.released_at is null) as quarantined,
        (select count(*) from duplicates d where d.file_hash = f.file_hash) as duplicate_count
    from raw_files f
)
select
    name as what,
    format('{} rows came in, {} raw rows are kept; {} tickets, {} quarantined and {} duplicates came of them.',
           row_count, raw_count, ticket_count, quarantined, duplicate_count) as reason
from counted
where row_count <> raw_count or row_count <> ticket_count + quarantined + duplicate_count
order by name, file_hash;
