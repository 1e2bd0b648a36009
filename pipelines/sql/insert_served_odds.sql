-- Keeps the odds of one recommendation. Reads the registered frame new_odds (suspect, probability).
-- $code, $position, $fit_id.
insert into served_odds
select $code, $position, $fit_id, suspect, probability from new_odds
on conflict do nothing;
