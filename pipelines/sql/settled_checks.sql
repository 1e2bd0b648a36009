-- How many tickets of one symptom each check settled: the last one that found the fault or cured it on a fixed ticket.
-- check; tickets.
with settling as (
    select max_by(c.check_code, c.position) as check_code
    from ticket_checks c
    join tickets t using (ticket_id)
    where t.symptom = $symptom and t.result = 'fixed' and c.outcome in ('fault_found', 'cured')
    group by t.ticket_order
)
select check_code as "check", count(*)::integer as tickets
from settling
group by check_code
order by check_code;
