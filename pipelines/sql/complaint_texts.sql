-- What owners said, one row a ticket with a complaint. Reads the registered frame age_bands (age_band, from_age, to_age).
-- $until: only tickets opened before this date; null for all.
-- symptom; family, shop ("" when not given); from_age (years, of its age band; null without a year); others
-- ("symptom=present;symptom=absent", sorted, else ""); complaint; suspects (confirmed, "suspect;suspect", "" when
-- unresolved). Ordered by ticket_id, which is a hash: neighbours have nothing in common.
with named as (
    select ticket_id, string_agg(suspect, ';' order by suspect) as suspects from ticket_suspects group by ticket_id
),
others as (
    select ticket_id, string_agg(other, ';' order by other) as others
    from (
        select ticket_id, symptom || case when present then '=present' else '=absent' end as other
        from ticket_symptoms
    )
    group by ticket_id
)
select t.symptom, coalesce(t.family, '') as family, t.shop, age_bands.from_age::double as from_age,
       coalesce(others.others, '') as others, t.complaint, coalesce(named.suspects, '') as suspects
from tickets t
left join age_bands on year(t.opened_on) - t.built_year between age_bands.from_age and age_bands.to_age
left join named using (ticket_id)
left join others using (ticket_id)
where trim(t.complaint) <> '' and ($until::date is null or t.opened_on < $until::date)
order by t.ticket_id;
