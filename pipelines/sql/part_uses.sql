-- Parts used by tickets. Reads the registered frames part_checks (check_code, part) and part_suspects (suspect, part).
-- $shop ("" = all); $since, $until (not included).
-- A ticket uses a part when a check that fits it was made and cured; where no check of a fixed ticket is written down as
-- cured, when its confirmed suspect is mended with the part. One unit a ticket. A part tried without cure goes back.
-- family ("" when not known); part; used (tickets); tried (tickets on which it was fitted without cure).
with told as (
    select ticket_id, result, coalesce(family, '') as family
    from tickets
    where ($shop = '' or shop = $shop)
      and opened_on >= $since::date and opened_on < $until::date
),
cured as (
    select ticket_id, check_code from ticket_checks semi join told using (ticket_id) where outcome = 'cured'
),
fitted as (
    select ticket_id, part from cured join part_checks using (check_code)
    union
    select ticket_id, part
    from told
    join ticket_suspects using (ticket_id)
    join part_suspects using (suspect)
    where result = 'fixed' and ticket_id not in (select ticket_id from cured)
),
in_vain as (
    select distinct ticket_id, part
    from ticket_checks
    join part_checks using (check_code)
    semi join told using (ticket_id)
    where outcome = 'not_cured'
)
select family, part, count(*) filter (where was_used) as used, count(*) filter (where not was_used) as tried
from (
    select ticket_id, part, true as was_used from fitted
    union all
    select ticket_id, part, false from in_vain anti join fitted using (ticket_id, part)
)
join told using (ticket_id)
group by family, part
order by family, part;
