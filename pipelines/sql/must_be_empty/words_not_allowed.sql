-- Tickets and checks with a result, confirmation or outcome that is none. Reads the registered frame
-- allowed_words (field, word).
-- what: shop and number of the ticket; reason.
with written as (
    select ticket_id, 'result' as field, result as word from tickets
    union all
    select ticket_id, 'confirmation', confirmation from tickets where confirmation is not null
    union all
    select ticket_id, 'outcome', outcome from ticket_checks
)
select tickets.shop || ' ' || tickets.ticket_number as what,
       format('The {} ''{}'' is not allowed.', written.field, written.word) as reason
from written
anti join allowed_words using (field, word)
join tickets using (ticket_id)
order by what, reason;
