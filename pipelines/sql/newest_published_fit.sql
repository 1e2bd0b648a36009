-- The fit to serve. Columns: fit_id, fitted_at (UTC), ticket_count, data_version, last_order (of the tickets it has seen).
select fits.fit_id, fits.fitted_at, fits.ticket_count, fits.data_version, fit_reach.last_order
from fits
join fit_reach using (fit_id)
where fits.published
order by fits.fitted_at desc, fits.fit_id desc
limit 1;
