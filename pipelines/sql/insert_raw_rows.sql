-- Stores rows as they came. Reads the registered frame new_raw_rows. $file_hash.
insert into raw_rows by name select $file_hash as file_hash, line, cells::json as cells from new_raw_rows;
