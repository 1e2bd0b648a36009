-- Tickets with a confirmed suspect, as they unfolded. Reads the registered frame age_bands (age_band, from_age, to_age).
-- $since, $until: only tickets opened on or after, and before these dates; null for no bound.
-- One row a ticket and suspect: ticket_id; opened_on; symptom; family, shop ("" when not given); age (years, null without
-- a year), age_band ("unknown" without a year); complaint ("" when none); others ("symptom=present;symptom=absent",
-- sorted, else ""); results ("check=outcome;..." in the order made, else ""); confirmation ("" when not given); suspect;
-- weight (1/n for each of n suspects). Ordered by day, then ticket_id, which is a hash.
with named as (
    select ticket_id, suspect, 1.0 / count(*) over (partition by ticket_id) as weight from ticket_suspects
),
results as (
    select ticket_id, string_agg(check_code || '=' || outcome, ';' order by position) as results
    from ticket_checks
    group by ticket_id
),
others as (
    select ticket_id, string_agg(other, ';' order by other) as others
    from (
        select ticket_id, symptom || case when present then '=present' else '=absent' end as other
        from ticket_symptoms
    )
    group by ticket_id
)
select t.ticket_id, t.opened_on, t.symptom, coalesce(t.family, '') as family, t.shop,
       (year(t.opened_on) - t.built_year)::double as age, coalesce(age_bands.age_band, 'unknown') as age_band,
       coalesce(t.complaint, '') as complaint, coalesce(others.others, '') as others,
       coalesce(results.results, '') as results, coalesce(t.confirmation, '') as confirmation,
       named.suspect, named.weight::double as weight
from tickets t
join named using (ticket_id)
left join age_bands on year(t.opened_on) - t.built_year between age_bands.from_age and age_bands.to_age
left join results using (ticket_id)
left join others using (ticket_id)
where ($since::date is null or t.opened_on >= $since::date) and ($until::date is null or t.opened_on < $until::date)
order by t.opened_on, t.ticket_id, named.suspect;
