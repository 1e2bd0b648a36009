-- All fits, newest first. Columns as in `fits` (seconds of wall time, fitted_at UTC).
select fit_id, fitted_at, ticket_count, data_version, priors_hash, code_version, seconds, max_rhat, min_ess,
    divergence_count, published
from fits
order by fitted_at desc, fit_id desc;
