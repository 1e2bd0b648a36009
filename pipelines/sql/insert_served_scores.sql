-- Scores what was advised in a session. Reads the registered frame truths (position, suspect): what it was by then.
-- $code; $least_probability: odds below it count as this, so that one slip does not cost infinitely much.
insert into served_scores
select o.code, o.position, o.fit_id, t.suspect,
       -ln(greatest(max(o.probability) filter (where o.suspect = t.suspect), $least_probability)),
       sum(o.probability * o.probability) - 2 * max(o.probability) filter (where o.suspect = t.suspect) + 1,
       count(*)
from served_odds o
join truths t using (position)
where o.code = $code
group by o.code, o.position, o.fit_id, t.suspect
having count(*) filter (where o.suspect = t.suspect) > 0;
