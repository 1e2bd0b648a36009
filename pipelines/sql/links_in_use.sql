-- Tickets by main symptom and confirmed suspect.
select symptom, suspect, count(*) as tickets
from tickets
join ticket_suspects using (ticket_id)
group by symptom, suspect
order by symptom, suspect;
