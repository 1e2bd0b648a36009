-- Tickets of each workshop's families between two days. $since, $until: first day counted, first day no longer counted.
-- shop; family ("" when not given); tickets.
select shop, coalesce(family, '') as family, count(*)::bigint as tickets
from tickets
where opened_on >= $since::date and opened_on < $until::date
group by all
order by shop, family;
