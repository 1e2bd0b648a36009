-- Closed sessions without their ticket, and entries of sessions that do not exist.
-- what: code of the session; reason.
select code as what, 'The session is closed, but its ticket is not there.' as reason
from session_closings
anti join tickets using (ticket_id)
union all
select distinct code, 'Entries were recorded for a session that does not exist.'
from session_events
anti join bench_sessions using (code)
order by what, reason;
