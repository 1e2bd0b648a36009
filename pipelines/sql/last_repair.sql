-- The last repair of a machine for the same symptom: $shop, $machine, $symptom, before $day (that day included), at most
-- $longest days ago. The last visit must have ended fixed; with several suspects the first by name stands for all.
-- $ticket_number: the ticket of this visit itself, if it is stored already ("" when it has none).
-- suspect; days (from closing to $day). At most one row.
with last_visit as (
    select ticket_id, result, coalesce(closed_on, opened_on) as done_on
    from tickets
    where shop = $shop and machine = $machine and symptom = $symptom and opened_on <= $day::date
      and ticket_number <> $ticket_number
    order by opened_on desc, ticket_order desc
    limit 1
)
select min(s.suspect) as suspect, date_diff('day', v.done_on, $day::date) as days
from last_visit v
join ticket_suspects s using (ticket_id)
where v.result = 'fixed' and date_diff('day', v.done_on, $day::date) between 0 and $longest
group by v.done_on
order by suspect;
