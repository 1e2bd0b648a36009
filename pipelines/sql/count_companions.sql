-- Other symptoms looked for on tickets whose suspect is confirmed. $until, $after, $up_to: as in count_cells.
-- suspect (confirmed); symptom (another one); present ('present' or 'absent'); count (a ticket with n confirmed
-- suspects counts 1/n for each).
select s.suspect, o.symptom, case when o.present then 'present' else 'absent' end as present,
       sum(1.0 / n.suspect_count)::double as count
from tickets t
join (select ticket_id, count(*) as suspect_count from ticket_suspects group by ticket_id) n using (ticket_id)
join ticket_suspects s using (ticket_id)
join ticket_symptoms o using (ticket_id)
where ($until::date is null or t.opened_on < $until::date)
  and ($after::bigint is null or t.ticket_order > $after::bigint)
  and ($up_to::bigint is null or t.ticket_order <= $up_to::bigint)
group by s.suspect, o.symptom, o.present
order by s.suspect, o.symptom, present;
