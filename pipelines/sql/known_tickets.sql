-- Tickets being read that the store has already. Reads the registered frames new_tickets, new_symptoms, new_suspects,
-- new_checks. No parameters.
-- ticket_id; is_same: whether every word is the same as in the store.
with known as (
    select ticket_id from new_tickets semi join tickets using (ticket_id)
),
new_facts as (
    select ticket_id, hash('ticket', machine::varchar, family::varchar, built_year::integer, opened_on::date,
                           closed_on::date, symptom::varchar, complaint::varchar, result::varchar,
                           confirmation::varchar, minutes::double) as fact
    from new_tickets
    union all
    select ticket_id, hash('symptom', symptom::varchar, present::boolean) from new_symptoms
    union all
    select ticket_id, hash('suspect', suspect::varchar) from new_suspects
    union all
    select ticket_id, hash('check', position::integer, check_code::varchar, outcome::varchar, minutes::double)
    from new_checks
),
ours as (
    select ticket_id, fact from new_facts semi join known using (ticket_id)
),
theirs as (
    select ticket_id, fact from ticket_facts semi join known using (ticket_id)
),
different as (
    (from ours except from theirs) union all (from theirs except from ours)
)
select ticket_id, ticket_id not in (select ticket_id from different) as is_same
from known
order by ticket_id;
