-- Opens a bench session. $code, $opened_at (UTC), $opened_on, $shop, $machine, $family, $built_year, $symptom, $complaint.
insert into bench_sessions values
    ($code, $opened_at, $opened_on, $shop, $machine, $family, $built_year, $symptom, $complaint);
