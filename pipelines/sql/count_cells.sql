-- Tickets as counted cells: what the model reads. Reads the registered frame age_bands (age_band, from_age, to_age).
-- $until: only tickets opened before this date; null for all. $after, $up_to: only tickets stored after the one of this
-- ticket_order, and up to the other, itself included; null for no bound.
-- A ticket with n confirmed suspects counts 1/n for each. One that ended in no_fault_found without a suspect says
-- nothing about suspects and is left out.
-- symptom; family, shop ("" when not given); age_band ("unknown" without a year); suspect, confirmation ("" when
-- unresolved); results, others (checks and other symptoms of an unresolved ticket, sorted, else ""); weight (tickets);
-- ticket_count (tickets behind all cells, the same in every row).
with told as (
    select t.ticket_id, t.symptom, coalesce(t.family, '') as family, t.shop, t.confirmation,
           year(t.opened_on) - t.built_year as age,
           (select count(*) from ticket_suspects s where s.ticket_id = t.ticket_id) as suspect_count
    from tickets t
    where ($until::date is null or t.opened_on < $until::date)
      and ($after::bigint is null or t.ticket_order > $after::bigint)
      and ($up_to::bigint is null or t.ticket_order <= $up_to::bigint)
),
counted as (
    select * from told
    where suspect_count > 0 or ticket_id in (select ticket_id from tickets where result <> 'no_fault_found')
),
unresolved as (
    select ticket_id from counted where suspect_count = 0
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
    counted.symptom, counted.family, counted.shop, coalesce(age_bands.age_band, 'unknown') as age_band,
    coalesce(ticket_suspects.suspect, '') as suspect,
    case when counted.suspect_count > 0 then coalesce(counted.confirmation, '') else '' end as confirmation,
    coalesce(results.results, '') as results, coalesce(others.others, '') as others,
    sum(1.0 / greatest(counted.suspect_count, 1))::double as weight,
    (select count(*) from counted) as ticket_count
from counted
left join ticket_suspects using (ticket_id)
left join age_bands on counted.age between age_bands.from_age and age_bands.to_age
left join results using (ticket_id)
left join others using (ticket_id)
group by all
order by all;
