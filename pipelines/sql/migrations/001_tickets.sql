-- Raw rows as they came, and what is made of them. rows in = tickets + quarantine + duplicates, always.
-- Instants are UTC. No foreign keys: DuckDB cannot edit a parent row that has list columns; references are checked
-- by the queries in must_be_empty/.

create table raw_files (
    file_hash varchar primary key,      -- sha256 of the bytes
    name varchar not null,              -- file name without its folder
    shop varchar not null,              -- shop given at import, '' when the rows name it
    row_count integer not null,
    read_at timestamp not null
);

create table raw_rows (
    file_hash varchar not null,
    line integer not null,              -- physical line (CSV) or sheet row (XLSX), header = 1
    cells json not null,                -- header -> text as it came
    primary key (file_hash, line)
);

create table tickets (
    ticket_id varchar primary key,      -- shop and the shop's own number, hashed
    shop varchar not null,
    ticket_number varchar not null,
    machine varchar,                    -- shop's own name of the machine, for comebacks only; never leaves the shop
    family varchar,                     -- code, null when not given
    built_year integer,                 -- null when not known
    opened_on date not null,
    closed_on date,
    symptom varchar not null,           -- code of the main symptom
    complaint varchar,                  -- the owner's own words
    result varchar not null,            -- fixed, not_fixed, no_fault_found, handed_on
    confirmation varchar,               -- null unless a suspect is confirmed
    minutes double,                     -- of the whole repair
    source varchar not null,            -- 'file' or 'bench'
    file_hash varchar,
    line integer
);

create table ticket_symptoms (          -- other symptoms that were looked for
    ticket_id varchar not null,
    symptom varchar not null,
    present boolean not null,
    primary key (ticket_id, symptom)
);

create table ticket_suspects (          -- what it really was; none when unresolved
    ticket_id varchar not null,
    suspect varchar not null,
    primary key (ticket_id, suspect)
);

create table ticket_checks (
    ticket_id varchar not null,
    position integer not null,          -- order in which it was made, from 1
    check_code varchar not null,
    outcome varchar not null,
    minutes double,
    primary key (ticket_id, position)
);

create table quarantine (
    file_hash varchar not null,
    line integer not null,
    reason_code varchar not null,
    reason varchar not null,            -- a sentence: what was given, what is allowed, what to do
    released_at timestamp,              -- set when a corrected row became a ticket
    primary key (file_hash, line)
);

create table duplicates (
    file_hash varchar not null,
    line integer not null,
    duplicate_of varchar not null,      -- ticket_id
    primary key (file_hash, line)
);

create table matches (                  -- what was written -> the code it was taken for
    field varchar not null,             -- family, symptom, suspect, check
    written varchar not null,
    code varchar not null,
    score double not null,              -- 0..100; 100 = exact or confirmed alias
    row_count integer not null,
    file_hash varchar not null,
    primary key (file_hash, field, written)
);

create table fits (
    fit_id varchar primary key,
    fitted_at timestamp not null,
    ticket_count integer not null,
    data_version varchar not null,      -- hash of the evidence
    priors_hash varchar not null,
    code_version varchar not null,
    seconds double not null,
    max_rhat double not null,
    min_ess double not null,
    divergence_count integer not null,
    published boolean not null
);
