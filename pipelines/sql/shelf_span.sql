-- What of the history the shelf is planned from. $shop ("" = all); $today; $most_years.
-- since, until (until not included): the recent $most_years years, ending with the newest ticket that is not after $today;
-- tickets in them. No row without a ticket.
with told as (
    select opened_on from tickets where ($shop = '' or shop = $shop) and opened_on <= $today::date
),
bounds as (
    select min(opened_on) as first_on, max(opened_on) + 1 as until from told having count(*) > 0
)
select greatest(first_on, (until - to_years($most_years::integer))::date) as since, until,
       (select count(*) from told
        where opened_on >= greatest(first_on, (until - to_years($most_years::integer))::date)) as tickets
from bounds;
