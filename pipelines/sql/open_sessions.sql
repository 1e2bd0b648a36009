-- Sessions that are not closed, newest first.
-- code; opened_on; shop; machine; family; symptom; entries (recorded so far, undoing included).
select s.code, s.opened_on, s.shop, s.machine, s.family, s.symptom, count(e.position) as entries
from bench_sessions s
left join session_events e using (code)
where s.code not in (select code from session_closings)
group by all
order by max(s.opened_at) desc, s.code;
