-- Everything recorded in one session, undone entries and the undoing included. $code.
-- position (from 1); kind; about; minutes.
select position, kind, about, minutes from session_events where code = $code order by position;
