-- Minutes of checks, where somebody wrote them down and they are more than none. $until, $after, $up_to: as in count_cells.
-- check; count; log_sum, log_square_sum (of the natural logarithm of the minutes).
select c.check_code as "check", count(*)::double as count,
       sum(ln(c.minutes)) as log_sum, sum(ln(c.minutes) * ln(c.minutes)) as log_square_sum
from tickets t
join ticket_checks c using (ticket_id)
where c.minutes > 0 and ($until::date is null or t.opened_on < $until::date)
  and ($after::bigint is null or t.ticket_order > $after::bigint)
  and ($up_to::bigint is null or t.ticket_order <= $up_to::bigint)
group by c.check_code
order by c.check_code;
