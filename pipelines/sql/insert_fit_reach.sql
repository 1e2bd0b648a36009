-- Records which tickets a fit has seen, and that it is the newest. $fit_id; $last_order: ticket_order of the newest
-- ticket, 0 for none.
insert into fit_reach (fit_id, last_order, fit_order)
values ($fit_id, $last_order, (select coalesce(max(fit_order), 0) + 1 from fit_reach));
