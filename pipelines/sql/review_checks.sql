-- What came of each check, by symptom. No parameters.
-- check; symptom; made (times); tickets (on which it was made); hits (found or cured); settled (the last hit on a fixed
-- ticket); timed (times with minutes above none); log_sum, log_square_sum (of the natural logarithm of those minutes);
-- minutes (their sum).
-- Counting each ticket once is the costly part. So the checks have numbers, a hundred to a set; a ticket has a bit for
-- each check of a set that was made on it, and tickets alike in their bits are counted together.
with numbers as (
    select check_code, (row_number() over (order by check_code) - 1)::integer as number
    from (select distinct check_code from ticket_checks)
),
told as (
    select t.ticket_order, t.symptom, n.number // 100 as number_set, bit_or(1::hugeint << (n.number % 100)) as made,
           max(c.position::bigint * 100000 + n.number)
               filter (where t.result = 'fixed' and c.outcome in ('fault_found', 'cured')) as last_hit
    from ticket_checks c
    join tickets t using (ticket_id)
    join numbers n using (check_code)
    group by all
),
alike as (
    select symptom, number_set, made, count(*) as tickets from told group by all
),
once as (
    select symptom, number_set * 100 + bit as number, sum(tickets)::bigint as tickets
    from alike, range(100) as bits(bit)
    where made & (1::hugeint << bit::integer) <> 0
    group by all
),
last_of_ticket as (
    select symptom, max(last_hit) % 100000 as number from told where last_hit is not null group by ticket_order, symptom
),
settled as (
    select symptom, number, count(*)::bigint as settled from last_of_ticket group by all
),
made as (
    select c.check_code, t.symptom, count(*)::bigint as made,
           count(*) filter (where c.outcome in ('fault_found', 'cured'))::bigint as hits,
           count(*) filter (where c.minutes > 0)::bigint as timed,
           coalesce(sum(ln(c.minutes)) filter (where c.minutes > 0), 0) as log_sum,
           coalesce(sum(ln(c.minutes) * ln(c.minutes)) filter (where c.minutes > 0), 0) as log_square_sum,
           coalesce(sum(c.minutes) filter (where c.minutes > 0), 0) as minutes
    from ticket_checks c
    join tickets t using (ticket_id)
    group by c.check_code, t.symptom
)
select m.check_code as "check", m.symptom, m.made, o.tickets, m.hits, coalesce(s.settled, 0)::bigint as settled, m.timed,
       m.log_sum, m.log_square_sum, m.minutes
from made m
join numbers n using (check_code)
join once o on o.number = n.number and o.symptom = m.symptom
left join settled s on s.number = n.number and s.symptom = m.symptom
order by m.check_code, m.symptom;
