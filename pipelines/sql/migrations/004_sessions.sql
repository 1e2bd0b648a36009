-- Bench sessions, append-only: facts when opened, events in the order recorded, one closing. What was advised is kept
-- as it was said, and scored when the session closes.

create table bench_sessions (
    code varchar primary key,           -- six letters and digits that bring it up again
    opened_at timestamp not null,
    opened_on date not null,
    shop varchar not null,
    machine varchar not null,           -- '' where not given, as in the next three
    family varchar not null,
    built_year integer,                 -- null when not known
    symptom varchar not null,
    complaint varchar not null
);

create table session_events (
    code varchar not null,
    position integer not null,          -- from 1, without gaps
    kind varchar not null,              -- a kind of analytics.session, or 'undo': the last event that still stood
    about varchar not null,             -- check, access group, symptom or suspect; '' for the whole machine
    minutes double,
    recorded_at timestamp not null,
    primary key (code, position)
);

create table session_closings (
    code varchar primary key,
    ticket_id varchar not null,
    closed_at timestamp not null
);

create table served_advice (
    code varchar not null,
    position integer not null,          -- events recorded when it was served, undone ones included
    served_at timestamp not null,
    fit_id varchar not null,
    next_check varchar not null,        -- '' = hand the machine on
    expected_minutes double not null,
    primary key (code, position, fit_id)
);

create table served_odds (
    code varchar not null,
    position integer not null,
    fit_id varchar not null,
    suspect varchar not null,
    probability double not null,
    primary key (code, position, fit_id, suspect)
);

create table served_scores (
    code varchar not null,
    position integer not null,
    fit_id varchar not null,
    suspect varchar not null,           -- what it was at that point of the session
    log_loss double not null,           -- -ln of the probability it was given
    brier double not null,              -- 0 to 2
    list_length integer not null,       -- suspects on the list: ln of it is the log loss of knowing nothing
    primary key (code, position, fit_id)
);
