-- Outcomes of checks for a shop's bundle, each ticket once for each outcome of a check. Parameters as in
-- count_bundle_cells; of several confirmed suspects the same one is taken as there.
-- check; suspect (confirmed); outcome; tickets.
with chosen as (
    select t.ticket_id,
           (select arg_min(s.suspect, md5(s.suspect || s.ticket_id))
            from ticket_suspects s where s.ticket_id = t.ticket_id) as suspect
    from tickets t
    where t.shop = $shop
      and (year(t.opened_on) between $from_year and $to_year
           or (year(t.opened_on) < $from_year and t.ticket_order > $after_order::bigint))
)
select c.check_code as "check", chosen.suspect, c.outcome, count(distinct c.ticket_id) as tickets
from ticket_checks c
join chosen using (ticket_id)
where chosen.suspect is not null
group by all
order by all;
