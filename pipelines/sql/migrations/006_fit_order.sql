-- Fits in the order in which they were stored: the newest is the one stored last, whatever the clock said.

alter table fit_reach add column fit_order bigint;

update fit_reach
set fit_order = ranked.place
from (select fit_id, row_number() over (order by fitted_at, fit_id) as place from fits) as ranked
where fit_reach.fit_id = ranked.fit_id;
