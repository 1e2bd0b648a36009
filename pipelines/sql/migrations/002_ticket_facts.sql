-- One number for each thing a ticket says: equal tickets have equal facts, wherever and in whatever order they were
-- stored. known_tickets.sql makes the same numbers from rows that are being read.

create view ticket_facts as
select ticket_id, hash('ticket', machine, family, built_year, opened_on, closed_on, symptom, complaint, result,
                       confirmation, minutes) as fact
from tickets
union all
select ticket_id, hash('symptom', symptom, present) from ticket_symptoms
union all
select ticket_id, hash('suspect', suspect) from ticket_suspects
union all
select ticket_id, hash('check', position, check_code, outcome, minutes) from ticket_checks;
