-- Closes a session. $code, $ticket_id, $closed_at (UTC).
insert into session_closings values ($code, $ticket_id, $closed_at);
