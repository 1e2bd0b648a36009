-- How much there is of each thing that must not be lost. No parameters. Columns: thing, row_count.
select 'tickets' as thing, count(*) as row_count from tickets
union all select 'raw_rows', count(*) from raw_rows
union all select 'quarantine', count(*) from quarantine
union all select 'duplicates', count(*) from duplicates
union all select 'bench_sessions', count(*) from bench_sessions
union all select 'session_events', count(*) from session_events
union all select 'session_closings', count(*) from session_closings
union all select 'served_advice', count(*) from served_advice
union all select 'fits', count(*) from fits
union all select 'bundles', count(*) from bundles
union all select 'bundle_cells', count(*) from bundle_cells
union all select 'bundle_families', count(*) from bundle_families
union all select 'bundle_checks', count(*) from bundle_checks
union all select 'bundle_minutes', count(*) from bundle_minutes
order by thing;
