-- Marks a row of the quarantine as released. $file_hash, $line, $released_at.
update quarantine set released_at = $released_at
where file_hash = $file_hash and line = $line and released_at is null;
