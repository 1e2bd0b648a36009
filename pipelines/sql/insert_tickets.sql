-- Stores tickets. Reads the registered frame new_tickets.
-- $source: 'file' or 'bench'; $file_hash: null for a ticket closed at the bench.
insert into tickets by name
select ticket_id, shop, ticket_number, machine, family, built_year, opened_on::date as opened_on,
       closed_on::date as closed_on, symptom, complaint, result, confirmation, minutes, $source as source,
       $file_hash as file_hash, case when $file_hash is null then null else line end as line
from new_tickets;
