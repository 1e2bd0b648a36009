-- A few tickets that ended at the same suspect with the same symptom: those of the same family first, surer ones before
-- guesses, then the newest. $symptom, $suspect, $family ("" for not known), $row_limit.
-- ticket_id; shop; ticket_number; opened_on; family; same_family; confirmation; complaint.
select t.ticket_id, t.shop, t.ticket_number, t.opened_on, coalesce(t.family, '') as family,
       coalesce(t.family = $family, false) as same_family, coalesce(t.confirmation, '') as confirmation,
       coalesce(t.complaint, '') as complaint
from tickets t
join ticket_suspects s using (ticket_id)
where t.symptom = $symptom and s.suspect = $suspect
order by same_family desc,
         case t.confirmation when 'reproduced_and_cured' then 0 when 'cured' then 1 else 2 end,
         t.opened_on desc, t.shop, t.ticket_number
limit $row_limit;
