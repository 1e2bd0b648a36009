-- What came of each check, by symptom. No parameters.
-- check; symptom; made (times); tickets (on which it was made); hits (found or cured); settled (the last hit on a fixed
-- ticket); timed (times with minutes above none); log_sum, log_square_sum (of the natural logarithm of those minutes);
-- minutes (their sum).
with settling as (
    select t.symptom, max_by(c.check_code, c.position) as check_code
    from ticket_checks c
    join tickets t using (ticket_id)
    where t.result = 'fixed' and c.outcome in ('fault_found', 'cured')
    group by t.ticket_order, t.symptom
),
settled as (
    select check_code, symptom, count(*)::bigint as settled
    from settling
    group by check_code, symptom
),
made as (
    select c.check_code, t.symptom, count(*)::bigint as made,
           count(distinct t.ticket_order)::bigint as tickets,
           count(*) filter (where c.outcome in ('fault_found', 'cured'))::bigint as hits,
           count(*) filter (where c.minutes > 0)::bigint as timed,
           coalesce(sum(ln(c.minutes)) filter (where c.minutes > 0), 0) as log_sum,
           coalesce(sum(ln(c.minutes) * ln(c.minutes)) filter (where c.minutes > 0), 0) as log_square_sum,
           coalesce(sum(c.minutes) filter (where c.minutes > 0), 0) as minutes
    from ticket_checks c
    join tickets t using (ticket_id)
    group by c.check_code, t.symptom
)
select m.check_code as "check", m.symptom, m.made, m.tickets, m.hits, coalesce(s.settled, 0)::bigint as settled, m.timed,
       m.log_sum, m.log_square_sum, m.minutes
from made m
left join settled s on s.check_code = m.check_code and s.symptom = m.symptom
order by m.check_code, m.symptom;
