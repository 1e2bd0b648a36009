-- What bundles tell beside their cells; of current bundles and packs only.

create table bundle_families (          -- tickets of a suspect that the cells count without a family, by family
    checksum varchar not null,
    symptom varchar not null,           -- '' where told by suspect
    suspect varchar not null,           -- '' where it was merged: told by symptom
    family varchar not null,            -- '' for those not told apart
    possible varchar not null,          -- which these are, joined by ;
    tickets double not null
);

create table bundle_checks (
    checksum varchar not null,
    "check" varchar not null,
    place varchar not null,             -- at_fault or elsewhere: where the fault was
    outcome varchar not null,
    tickets double not null
);

create table bundle_minutes (
    checksum varchar not null,
    "check" varchar not null,
    tickets double not null,
    mean_log double not null,           -- of the natural logarithm of the minutes
    spread_log double not null
);
