-- Records which tickets a fit has seen. $fit_id; $last_order: ticket_order of the newest one, 0 for none.
insert into fit_reach values ($fit_id, $last_order);
