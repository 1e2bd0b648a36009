-- How often each suspect was confirmed on machines that are named.
-- suspect; tickets.
select s.suspect, count(*)::bigint as tickets
from ticket_suspects s
join tickets t using (ticket_id)
where t.machine is not null and t.machine <> ''
group by s.suspect
order by s.suspect;
