-- One ticket by its id. $ticket_id.
-- ticket_number; shop; file_hash and line it came from (null when it was written at the bench).
select ticket_number, shop, file_hash, line from tickets where ticket_id = $ticket_id;
