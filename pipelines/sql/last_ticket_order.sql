-- The newest ticket's number in the order of storing. No parameters. last_order: 0 when there are no tickets.
select coalesce(max(ticket_order), 0)::bigint as last_order from tickets;
