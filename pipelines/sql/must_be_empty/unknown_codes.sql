-- Tickets that name a family, symptom, suspect or check the vocabulary does not have. Reads the registered frame
-- known_codes (field, code).
-- what: shop and number of the ticket; reason.
with written as (
    select ticket_id, 'family' as field, family as code from tickets where family is not null
    union all
    select ticket_id, 'symptom', symptom from tickets
    union all
    select ticket_id, 'symptom', symptom from ticket_symptoms
    union all
    select ticket_id, 'suspect', suspect from ticket_suspects
    union all
    select ticket_id, 'check', check_code from ticket_checks
)
select tickets.shop || ' ' || tickets.ticket_number as what,
       format('The {} ''{}'' is not in the vocabulary.', written.field, written.code) as reason
from written
anti join known_codes using (field, code)
join tickets using (ticket_id)
order by what, reason;
