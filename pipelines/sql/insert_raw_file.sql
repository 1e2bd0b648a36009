-- Stores that a file was read. $file_hash, $name, $shop, $row_count, $read_at.
insert into raw_files values ($file_hash, $name, $shop, $row_count, $read_at);
