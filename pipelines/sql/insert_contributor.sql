-- Keeps a workshop's code and how far its tickets have been counted. $shop, $code, $last_order.
insert into contributors values ($shop, $code, $last_order)
on conflict (shop) do update set last_order = excluded.last_order;
