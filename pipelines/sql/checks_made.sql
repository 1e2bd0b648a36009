-- How often each check was made, on tickets of any kind; null in $symptom for all symptoms.
-- check; count.
select c.check_code as "check", count(*)::integer as count
from ticket_checks c
join tickets t using (ticket_id)
where $symptom::varchar is null or t.symptom = $symptom::varchar
group by c.check_code
order by c.check_code;
