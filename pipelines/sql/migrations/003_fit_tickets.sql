-- Which tickets a fit has seen: tickets are numbered in the order in which they were stored, and a fit remembers the
-- last one it read.

create sequence ticket_orders;

alter table tickets add column ticket_order bigint default nextval('ticket_orders');

create table fit_reach (
    fit_id varchar primary key,
    last_order bigint not null          -- ticket_order of the newest ticket among the fitted ones; 0 for none
);

-- A data version begins with the number of tickets, and so far those were numbered without gaps.
insert into fit_reach select fit_id, split_part(data_version, '-', 1)::bigint from fits;
