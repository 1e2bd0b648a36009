-- One more entry of a session. $code, $position, $kind, $about, $minutes (null when not known), $recorded_at (UTC).
insert into session_events values ($code, $position, $kind, $about, $minutes, $recorded_at);
