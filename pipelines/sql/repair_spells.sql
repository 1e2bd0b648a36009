-- How long repairs held. A repair is a ticket that ended fixed, whose machine is named and whose suspect is confirmed;
-- with several suspects each is a repair of its own. It fails when the same machine of the same shop comes back with the
-- same symptom; else it is watched until the last day any ticket was opened. A machine that came back before the repair
-- was closed is left out: that is one visit written twice.
-- $longest: days after which a repair counts as held and is not watched any longer.
-- suspect; remedy (the last remedy or substitution that cured, "" when none is written); ending ("same": that suspect was
-- confirmed again, "other": another one, "unknown": none, "held"); days (watched); repairs (counted).
with named as (
    select ticket_id, list(suspect) as suspects from ticket_suspects group by ticket_id
),
-- sorted by a number, which is quicker than by three texts
kinds as (
    select shop, machine, symptom, row_number() over () as kind
    from (select distinct shop, machine, symptom from tickets where machine <> '')
),
visits as (
    select t.ticket_id, t.result, coalesce(t.closed_on, t.opened_on) as done_on, n.suspects,
           lead(t.opened_on) over later as next_on, lead(coalesce(n.suspects, [])) over later as next_suspects
    from tickets t
    join kinds using (shop, machine, symptom)
    left join named n using (ticket_id)
    window later as (partition by kind order by t.opened_on, t.ticket_order)
),
remedies as (
    select ticket_id, max_by(check_code, position) as remedy from ticket_checks where outcome = 'cured' group by ticket_id
),
repairs as (
    select unnest(v.suspects) as suspect, coalesce(r.remedy, '') as remedy, v.next_suspects,
           date_diff('day', v.done_on, coalesce(v.next_on, (select max(opened_on) from tickets))) as days
    from visits v
    left join remedies r using (ticket_id)
    where v.result = 'fixed' and v.suspects is not null and (v.next_on is null or v.next_on >= v.done_on)
)
select suspect, remedy,
       case when days > $longest or next_suspects is null then 'held'
            when list_contains(next_suspects, suspect) then 'same'
            when len(next_suspects) > 0 then 'other'
            else 'unknown' end as ending,
       greatest(0, least(days, $longest))::integer as days, count(*)::bigint as repairs
from repairs
group by all
order by all;
