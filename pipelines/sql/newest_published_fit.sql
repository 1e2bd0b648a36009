-- The fit to serve. Columns: fit_id, fitted_at (UTC), ticket_count, data_version.
select fit_id, fitted_at, ticket_count, data_version
from fits
where published
order by fitted_at desc, fit_id desc
limit 1;
