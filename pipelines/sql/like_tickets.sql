-- How many tickets are like the one on the bench. $symptom, $family ("" for not known).
-- same_both, same_symptom, same_family, all_tickets: tickets.
select
    count(*) filter (symptom = $symptom and family = $family) as same_both,
    count(*) filter (symptom = $symptom) as same_symptom,
    count(*) filter (family = $family) as same_family,
    count(*) as all_tickets
from tickets;
