-- Tickets by month, family and symptom. No parameters.
-- month (its first day); family ("" when not given); symptom; tickets; first_day, last_day (of tickets of the row).
select date_trunc('month', opened_on)::date as month, coalesce(family, '') as family, symptom,
       count(*)::bigint as tickets, min(opened_on) as first_day, max(opened_on) as last_day
from tickets
group by all
order by month, family, symptom;
