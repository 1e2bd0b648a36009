-- One bench session by $code; no row when there is none.
-- code; shop; symptom; opened_on; machine; family; built_year; complaint; ticket_id (null while open).
select s.code, s.shop, s.symptom, s.opened_on, s.machine, s.family, s.built_year, s.complaint, c.ticket_id
from bench_sessions s
left join session_closings c using (code)
where s.code = $code
order by s.code;
