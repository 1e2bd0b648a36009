-- The newest closed repairs with at least one check: fixed with one suspect of the list, or not fixed by anybody here.
-- $limit: how many.
-- symptom; suspect ("" when not fixed); results ("check=outcome;...", in the order made).
with suspects as (
    select ticket_id, any_value(suspect) as suspect, count(*) as suspect_count
    from ticket_suspects
    group by ticket_id
),
newest as (
    select t.ticket_id, t.opened_on, t.symptom, coalesce(s.suspect, '') as suspect
    from tickets t
    left join suspects s using (ticket_id)
    where exists (select 1 from ticket_checks c where c.ticket_id = t.ticket_id)
      and case t.result
          when 'fixed' then s.suspect_count = 1 and s.suspect <> 'something_else'
          when 'no_fault_found' then false
          else s.suspect is null
      end
    order by t.opened_on desc, t.ticket_id
    limit $limit
)
select n.symptom, n.suspect,
       string_agg(c.check_code || '=' || c.outcome, ';' order by c.position) as results
from newest n
join ticket_checks c using (ticket_id)
group by n.ticket_id, n.symptom, n.suspect
order by n.ticket_id;
