-- How many tickets and open bench sessions use each code of the vocabulary.
-- field: family, symptom, suspect, check; any = a code that an event of an open session is about.
with open_sessions as (
    select code, family, symptom from bench_sessions anti join session_closings using (code)
), used as (
    select 'family' as field, family as code, ticket_id, null as session_code from tickets where family is not null
    union all
    select 'symptom', symptom, ticket_id, null from tickets
    union all
    select 'symptom', symptom, ticket_id, null from ticket_symptoms
    union all
    select 'suspect', suspect, ticket_id, null from ticket_suspects
    union all
    select 'check', check_code, ticket_id, null from ticket_checks
    union all
    select 'family', family, null, code from open_sessions where family <> ''
    union all
    select 'symptom', symptom, null, code from open_sessions
    union all
    select 'any', about, null, session_events.code from session_events semi join open_sessions using (code)
    where about <> ''
)
select field, code, count(distinct ticket_id) as tickets, count(distinct session_code) as sessions
from used
group by field, code
order by field, code;
