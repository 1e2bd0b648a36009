-- First calendar year and number of tickets of each workshop, up to the year $to_year. Columns: shop, from_year, tickets.
select shop, min(year(opened_on))::integer as from_year, count(*) as tickets
from tickets
where year(opened_on) <= $to_year
group by shop
order by shop;
