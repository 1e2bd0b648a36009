-- Text that changes when, and only when, the tickets change. No parameters.
-- data_version: number of tickets, then one number over all their facts; the order of the rows does not matter.
select
    (select count(*) from tickets)::varchar || '-'
    || format('{:016x}', coalesce((select bit_xor(hash(ticket_id, fact)) from ticket_facts), 0)) as data_version;
