-- All fits, the one stored last first. Columns as in `fits` (seconds of wall time, fitted_at UTC).
select fit_id, fitted_at, ticket_count, data_version, priors_hash, code_version, seconds, max_rhat, min_ess,
    divergence_count, published
from fits
join fit_reach using (fit_id)
order by fit_reach.fit_order desc;
