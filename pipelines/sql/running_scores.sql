-- The running score over closed sessions, in the order closed: a session counts once, with the mean over its advice.
-- closed_at (UTC); code; sessions (so far); log_loss, brier, blind_log_loss (of knowing only the list): each the mean
-- over the sessions so far; first_log_loss: the same for the first advice of each session, before any check.
with scored as (
    select code, avg(log_loss) as log_loss, avg(brier) as brier, avg(ln(list_length)) as blind_log_loss,
           arg_min(log_loss, position) as first_log_loss
    from served_scores
    group by code
)
select c.closed_at, c.code, count(*) over sofar as sessions, avg(s.log_loss) over sofar as log_loss,
       avg(s.brier) over sofar as brier, avg(s.blind_log_loss) over sofar as blind_log_loss,
       avg(s.first_log_loss) over sofar as first_log_loss
from scored s
join session_closings c using (code)
window sofar as (order by c.closed_at, c.code rows between unbounded preceding and current row)
order by c.closed_at, c.code;
