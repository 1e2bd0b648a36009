-- Stores which rows said again what a ticket says already. Reads the registered frame new_duplicates. $file_hash.
insert into duplicates by name select $file_hash as file_hash, line, duplicate_of from new_duplicates;
