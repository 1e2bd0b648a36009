-- Minutes of checks for a shop's bundle, each ticket once a check, by the last minutes written down that are more than
-- none. Parameters as in count_bundle_cells.
-- check; count; log_sum, log_square_sum (of the natural logarithm of the minutes).
with last_ones as (
    select c.check_code, c.ticket_id, ln(arg_max(c.minutes, c.position)) as log_minutes
    from ticket_checks c
    join tickets t using (ticket_id)
    where c.minutes > 0 and t.shop = $shop
      and (year(t.opened_on) between $from_year and $to_year
           or (year(t.opened_on) < $from_year and t.ticket_order > $after_order::bigint))
    group by c.check_code, c.ticket_id
)
select check_code as "check", count(*) as count, sum(log_minutes) as log_sum,
       sum(log_minutes * log_minutes) as log_square_sum
from last_ones
group by check_code
order by check_code;
