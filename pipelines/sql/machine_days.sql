-- When the machines that came in most often did. $fewest: visits a machine must have; $most: machines to return.
-- shop; machine; family (newest given, ""); day (of the visit, counted from the day before the workshop's first ticket);
-- until (last day any ticket was opened, counted alike). In no order.
with span as (
    select shop, min(opened_on) - interval 1 day as zero, (select max(opened_on) from tickets) as last_day
    from tickets
    group by shop
),
often as (
    select shop, machine, coalesce(max_by(family, opened_on) filter (where family is not null), '') as family
    from tickets
    where machine is not null and machine <> ''
    group by shop, machine
    having count(*) >= $fewest
    order by count(*) desc, shop, machine
    limit $most
)
select shop, machine, often.family, date_diff('day', zero::date, opened_on)::double as day,
       date_diff('day', zero::date, last_day)::double as until
from tickets t
join often using (shop, machine)
join span using (shop);
