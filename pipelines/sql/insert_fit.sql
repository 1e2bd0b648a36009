-- Records a fit. $parameters: all columns of `fits`. A fit exists when its row exists.
insert into fits values (
    $fit_id, $fitted_at, $ticket_count, $data_version, $priors_hash, $code_version, $seconds, $max_rhat, $min_ess,
    $divergence_count, $published
);
