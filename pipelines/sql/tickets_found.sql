-- Tickets in which a text occurs, newest first. $text (lower case, "" for all), $row_limit.
-- ticket_id; shop; ticket_number; opened_on; closed_on; family; built_year; machine; symptom; complaint; suspects
-- (codes joined by "; ", "" when unresolved); confirmation; result; minutes; source ('file' or 'bench').
with named as (
    select ticket_id, string_agg(suspect, '; ' order by suspect) as suspects from ticket_suspects group by ticket_id
)
select t.ticket_id, t.shop, t.ticket_number, t.opened_on, t.closed_on, coalesce(t.family, '') as family, t.built_year,
       coalesce(t.machine, '') as machine, t.symptom, coalesce(t.complaint, '') as complaint,
       coalesce(named.suspects, '') as suspects, coalesce(t.confirmation, '') as confirmation, t.result, t.minutes,
       t.source
from tickets t
left join named using (ticket_id)
where contains(lower(concat_ws(' ', t.shop, t.ticket_number, t.machine, t.family, t.symptom, t.complaint,
                               named.suspects, t.result)), $text)
order by t.opened_on desc, t.shop, t.ticket_number
limit $row_limit;
