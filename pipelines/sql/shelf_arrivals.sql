-- How often each symptom brought each kind of machine in. $shop ("" = all); $since, $until (not included).
-- symptom; family ("" when not known); tickets.
select symptom, coalesce(family, '') as family, count(*)::double as tickets
from tickets
where ($shop = '' or shop = $shop)
  and opened_on >= $since::date and opened_on < $until::date
group by all
order by all;
