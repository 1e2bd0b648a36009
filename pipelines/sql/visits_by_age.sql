-- Visits of each machine by its age in years. Machines with the year of manufacture known; watched from their workshop's
-- first ticket to the last day any ticket was opened. Machines that never came in are in no ticket and so not here.
-- machine (number, from 0); first_age, last_age (watched, whole years); age (of the visit); visits.
with span as (
    select shop, min(year(opened_on)) as first_year, (select max(year(opened_on)) from tickets) as last_year
    from tickets
    group by shop
),
machines as (
    select shop, machine, min(built_year) as built_year, row_number() over (order by shop, machine) - 1 as number
    from tickets
    where machine is not null and machine <> '' and built_year is not null
    group by shop, machine
)
select number as machine, first_year - m.built_year as first_age, last_year - m.built_year as last_age,
       year(opened_on) - m.built_year as age, count(*)::bigint as visits
from tickets t
join machines m using (shop, machine)
join span using (shop)
where year(opened_on) >= m.built_year
group by all
order by all;
