-- The fit to serve: the published one that was stored last; a clock may have been set back.
-- Columns: fit_id, fitted_at (UTC), ticket_count, data_version, last_order (of the tickets it has seen).
select fits.fit_id, fits.fitted_at, fits.ticket_count, fits.data_version, fit_reach.last_order
from fits
join fit_reach using (fit_id)
where fits.published
order by fit_reach.fit_order desc
limit 1;
