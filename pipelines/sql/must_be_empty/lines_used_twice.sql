-- Raw lines that became more than one thing, or things made of a line that is not kept.
-- what: file hash and line; reason.
with used as (
    select file_hash, line, 'ticket' as thing from tickets where file_hash is not null
    union all
    select file_hash, line, 'quarantined row' from quarantine where released_at is null
    union all
    select file_hash, line, 'duplicate' from duplicates
)
select used.file_hash || ', line ' || used.line as what,
       case when any_value(raw_rows.line) is null then 'The line is not among the raw rows, yet it became a '
            else 'The line is used as ' end || string_agg(thing, ' and as ' order by thing) || '.' as reason
from used
left join raw_rows using (file_hash, line)
group by used.file_hash, used.line
having count(*) > 1 or any_value(raw_rows.line) is null
order by what;
