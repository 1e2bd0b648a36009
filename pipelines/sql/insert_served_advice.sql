-- Keeps one recommendation; the same one shown again is not a second one.
-- $code, $position, $served_at (UTC), $fit_id, $next_check, $expected_minutes.
insert into served_advice values ($code, $position, $served_at, $fit_id, $next_check, $expected_minutes)
on conflict do nothing;
