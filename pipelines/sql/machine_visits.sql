-- How often each machine came in. A machine counts as watched from its workshop's first ticket to the last day any ticket
-- was opened; one that never came in is in no ticket and so not here.
-- family (newest given, ""); tickets; comebacks (visits with the symptom of an earlier one closed at most $longest days
-- before); days (watched); machines (with these same figures); shop, machine ("" unless it is one of the $named machines
-- that came in most often: they have a row each, the others are counted together).
with span as (
    select shop, min(opened_on) as first_day, (select max(opened_on) from tickets) as last_day
    from tickets
    group by shop
),
-- sorted by a number, which is quicker than by three texts
kinds as (
    select shop, machine, symptom, row_number() over () as kind
    from (select distinct shop, machine, symptom from tickets where machine <> '')
),
visits as (
    select shop, machine, family, opened_on,
           date_diff('day', lag(coalesce(closed_on, opened_on)) over earlier, opened_on) as since_last
    from tickets
    join kinds using (shop, machine, symptom)
    window earlier as (partition by kind order by opened_on, ticket_order)
),
told as (
    select shop, machine, coalesce(max_by(family, opened_on) filter (where family is not null), '') as family,
           count(*)::bigint as tickets, count(*) filter (where since_last between 0 and $longest)::bigint as comebacks
    from visits
    group by shop, machine
),
ranked as (
    select *, row_number() over (order by tickets desc, shop, machine) <= $named as is_named from told
)
select family, tickets, case when is_named then comebacks else 0 end as comebacks,
       date_diff('day', first_day, last_day)::bigint as days, count(*)::bigint as machines,
       case when is_named then shop else '' end as shop, case when is_named then machine else '' end as machine
from ranked
join span using (shop)
group by all
order by all;
