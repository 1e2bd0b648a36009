-- How often each symptom brought a machine in. $family ("" = every kind).
-- symptom; tickets.
select symptom, count(*) as tickets
from tickets
where $family = '' or family = $family
group by symptom
order by symptom;
