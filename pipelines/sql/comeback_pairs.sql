-- Comebacks with a suspect confirmed both times: the same machine of the same shop, the same symptom, at most $longest days
-- after the repair. $until: only pairs whose second ticket was opened before this date; null for all.
-- suspect (of the first ticket); same, other (comebacks in which it was confirmed again, or another one).
with visits as (
    select ticket_id, result, coalesce(closed_on, opened_on) as done_on,
           lead(ticket_id) over later as next_id, lead(opened_on) over later as next_on
    from tickets
    where machine is not null and machine <> ''
    window later as (partition by shop, machine, symptom order by opened_on, ticket_order)
),
pairs as (
    select s.suspect, v.next_id
    from visits v
    join ticket_suspects s using (ticket_id)
    where v.result = 'fixed' and v.next_on >= v.done_on and date_diff('day', v.done_on, v.next_on) <= $longest
      and ($until::date is null or v.next_on < $until::date)
)
select pairs.suspect,
       count(*) filter (where again.ticket_id is not null)::double as same,
       count(*) filter (where again.ticket_id is null)::double as other
from pairs
semi join ticket_suspects found on found.ticket_id = pairs.next_id
left join ticket_suspects again on again.ticket_id = pairs.next_id and again.suspect = pairs.suspect
group by pairs.suspect
order by pairs.suspect;
