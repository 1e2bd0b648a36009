-- Rows being read whose ticket the store has already. Reads the registered frames new_tickets, new_symptoms,
-- new_suspects, new_checks. No parameters.
-- line; is_same: whether every word is the same as in the store.
with known as (
    select line, ticket_id from new_tickets semi join tickets using (ticket_id)
),
new_facts as (
    select line, hash('ticket', machine::varchar, family::varchar, built_year::integer, opened_on::date,
                      closed_on::date, symptom::varchar, complaint::varchar, result::varchar,
                      confirmation::varchar, minutes::double) as fact
    from new_tickets
    union all
    select line, hash('symptom', symptom::varchar, present::boolean) from new_symptoms
    union all
    select line, hash('suspect', suspect::varchar) from new_suspects
    union all
    select line, hash('check', position::integer, check_code::varchar, outcome::varchar, minutes::double)
    from new_checks
),
ours as (
    select line, fact from new_facts semi join known using (line)
),
theirs as (
    select line, fact from known join ticket_facts using (ticket_id)
),
different as (
    (from ours except from theirs) union all (from theirs except from ours)
)
select line, line not in (select line from different) as is_same
from known
order by line;
