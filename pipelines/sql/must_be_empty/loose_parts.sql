-- Symptoms, suspects, checks and duplicates of tickets that do not exist.
-- what: table and ticket_id; reason.
select part.place || ' ' || part.ticket_id as what, 'There is no ticket with this id.' as reason
from (
    select 'ticket_symptoms' as place, ticket_id from ticket_symptoms
    union
    select 'ticket_suspects', ticket_id from ticket_suspects
    union
    select 'ticket_checks', ticket_id from ticket_checks
    union
    select 'duplicates', duplicate_of from duplicates
) as part
anti join tickets using (ticket_id)
order by what;
