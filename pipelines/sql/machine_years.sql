-- Days under watch of all named machines together, each from its workshop's first ticket to the last day of all.
-- days.
with machines as (
    select shop, count(distinct machine) filter (where machine <> '') as machines, min(opened_on) as first_day
    from tickets
    group by shop
)
select coalesce(sum(machines * date_diff('day', first_day, (select max(opened_on) from tickets))), 0)::double as days
from machines
order by days;
