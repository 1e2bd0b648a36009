-- Stores rows that are no tickets, with the reason. Reads the registered frame new_quarantine. $file_hash.
insert into quarantine by name select $file_hash as file_hash, line, reason_code, reason from new_quarantine;
