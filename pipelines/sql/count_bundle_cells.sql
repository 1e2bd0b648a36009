-- Tickets of one shop for its bundle, each in exactly one cell. Reads the registered frame age_bands (age_band, from_age,
-- to_age). $shop; $from_year, $to_year: only tickets opened in these calendar years, both included; $after_order: null,
-- or the ticket_order up to which older years have already left the shop: later entries of those years count here too.
-- Of several confirmed suspects one is taken by a draw that the ticket's id decides, so that each ticket counts once.
-- A ticket that ended in no_fault_found without a suspect says nothing about suspects and is left out.
-- symptom; family ("" when not given); age_band ("unknown" without a year); suspect, confirmation ("" when unresolved);
-- results, others (as in count_cells.sql); tickets.
with chosen as (
    select t.ticket_id, t.symptom, coalesce(t.family, '') as family, t.confirmation, t.result,
           year(t.opened_on) - t.built_year as age,
           (select arg_min(s.suspect, md5(s.suspect || s.ticket_id))
            from ticket_suspects s where s.ticket_id = t.ticket_id) as suspect
    from tickets t
    where t.shop = $shop
      and (year(t.opened_on) between $from_year and $to_year
           or (year(t.opened_on) < $from_year and t.ticket_order > $after_order::bigint))
),
counted as (
    select * from chosen where suspect is not null or result <> 'no_fault_found'
),
unresolved as (
    select ticket_id from counted where suspect is null
),
results as (
    select ticket_id, string_agg(check_code || '=' || outcome, ';' order by check_code || '=' || outcome) as results
    from ticket_checks semi join unresolved using (ticket_id)
    group by ticket_id
),
others as (
    select ticket_id, string_agg(other, ';' order by other) as others
    from (
        select ticket_id, symptom || case when present then '=present' else '=absent' end as other
        from ticket_symptoms semi join unresolved using (ticket_id)
    )
    group by ticket_id
)
select
    counted.symptom, counted.family, coalesce(age_bands.age_band, 'unknown') as age_band,
    coalesce(counted.suspect, '') as suspect,
    case when counted.suspect is not null then coalesce(counted.confirmation, '') else '' end as confirmation,
    coalesce(results.results, '') as results, coalesce(others.others, '') as others, count(*) as tickets
from counted
left join age_bands on counted.age between age_bands.from_age and age_bands.to_age
left join results using (ticket_id)
left join others using (ticket_id)
group by all
order by all;
