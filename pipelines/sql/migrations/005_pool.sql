-- The club's pool: who this store writes bundles for, and the bundles and packs that count here. Only counted cells are
-- kept; nothing in them is finer than a year.

create table contributors (             -- workshops of this store that have written a bundle
    shop varchar primary key,           -- never leaves the store
    code varchar not null unique,       -- random; all that the club sees
    last_order bigint not null          -- ticket_order up to which tickets of closed years have been counted
);

create table bundles (
    checksum varchar primary key,       -- sha256 of the cells' bytes and the manifest
    contributor varchar not null,
    number integer not null,            -- grows with every bundle of the contributor
    kind varchar not null,              -- own (written here), received, pack
    state varchar not null,             -- current, superseded, withdrawn
    from_year integer not null,
    to_year integer not null,
    threshold integer not null,
    ticket_count integer not null,
    noise_variance double not null,     -- of one count; 0 without noise
    public_key varchar not null,        -- '' when not signed
    manifest json not null,
    stored_at timestamp not null
);

create table bundle_cells (             -- of current bundles only
    checksum varchar not null,
    symptom varchar not null,           -- '' where rolled up, as in the next two
    family varchar not null,
    age_band varchar not null,
    suspect varchar not null,
    confirmation varchar not null,
    results varchar not null,
    others varchar not null,
    tickets double not null
);
