-- The file with this content, if it was read before. $file_hash.
-- name; row_count; read_at.
select name, row_count, read_at from raw_files where file_hash = $file_hash;
