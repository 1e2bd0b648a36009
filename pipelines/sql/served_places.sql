-- How the first advice of each closed session did, and what all its advice gave to what it really was. One row.
-- A session counts once. Suspects of equal odds share the mean of their places.
-- sessions; first_one, first_three: sessions whose suspect stood first, or among the first three, before any check;
-- log_loss, blind_log_loss (of an even guess over the list): means over the sessions of the mean over their advice.
with placed as (
    select s.code, s.position, s.fit_id, s.log_loss, s.list_length,
           1 + count(*) filter (o.probability > t.probability)
             + (count(*) filter (o.probability = t.probability) - 1) / 2.0 as place
    from served_scores s
    join served_odds t on (t.code, t.position, t.fit_id, t.suspect) = (s.code, s.position, s.fit_id, s.suspect)
    join served_odds o on (o.code, o.position, o.fit_id) = (s.code, s.position, s.fit_id)
    group by all
),
told as (
    select code, arg_min(place, position) as first_place, avg(log_loss) as log_loss,
           avg(ln(list_length)) as blind_log_loss
    from placed
    group by code
)
select count(*) as sessions, count(*) filter (first_place <= 1) as first_one,
       count(*) filter (first_place <= 3) as first_three, avg(log_loss) as log_loss,
       avg(blind_log_loss) as blind_log_loss
from told;
