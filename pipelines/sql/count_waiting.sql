-- Rows in quarantine that no correction has released. No parameters.
-- waiting.
select count(*) as waiting from quarantine where released_at is null;
