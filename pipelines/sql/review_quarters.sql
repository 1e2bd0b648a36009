-- First checks and minutes to a fix, by the quarter in which the ticket was opened. No parameters.
-- quarter (its first day); first_made (tickets with a check); first_hits (the first one found or cured); fixed (fixed
-- tickets with minutes above none); log_sum, log_square_sum (of the natural logarithm of the minutes of the repair);
-- raw_median (minutes, null when none).
with firsts as (
    select ticket_id, arg_min(outcome, position) as outcome
    from ticket_checks
    group by ticket_id
)
select date_trunc('quarter', t.opened_on)::date as quarter,
       count(f.outcome)::bigint as first_made,
       count(*) filter (where f.outcome in ('fault_found', 'cured'))::bigint as first_hits,
       count(*) filter (where t.result = 'fixed' and t.minutes > 0)::bigint as fixed,
       coalesce(sum(ln(t.minutes)) filter (where t.result = 'fixed' and t.minutes > 0), 0) as log_sum,
       coalesce(sum(ln(t.minutes) * ln(t.minutes)) filter (where t.result = 'fixed' and t.minutes > 0), 0)
           as log_square_sum,
       median(t.minutes) filter (where t.result = 'fixed' and t.minutes > 0) as raw_median
from tickets t
left join firsts f using (ticket_id)
group by quarter
order by quarter;
