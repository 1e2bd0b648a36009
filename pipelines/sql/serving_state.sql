-- What is served, and from which tickets. No parameters. One row, also for an empty store.
-- ticket_count; fit_id: published fit that was stored last, '' for none; newest_ticket: its order and its id, '0-' for
-- none. A ticket is never changed once it is stored, so the newest one and the count name the state of them all.
select
    (select count(*) from tickets)::bigint as ticket_count,
    coalesce((select arg_max(fit_id, fit_order) from fits join fit_reach using (fit_id) where published), '') as fit_id,
    coalesce((select max(ticket_order) from tickets), 0)::varchar || '-' || coalesce(
        (select ticket_id from tickets where ticket_order = (select max(ticket_order) from tickets)), ''
    ) as newest_ticket;
