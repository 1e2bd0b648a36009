-- Stores what spellings were taken for. Reads the registered frame new_matches. $file_hash.
insert into matches by name
select field, written, code, score, row_count, $file_hash as file_hash from new_matches;
