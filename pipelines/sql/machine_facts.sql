-- What the newest ticket or session of a machine says of it. $shop, $machine.
-- family ('' when not known); built_year (null when not known). At most one row.
with told as (
    select coalesce(family, '') as family, built_year, opened_on from tickets where shop = $shop and machine = $machine
    union all
    select family, built_year, opened_on from bench_sessions where shop = $shop and machine = $machine
)
select family, built_year from told
order by family = '', opened_on desc, built_year
limit 1;
