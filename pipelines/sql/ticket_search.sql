-- Tickets found, newest first, each as a row of the ticket template would write it (in codes).
-- $word (lower case, "" for any) must occur in the number, the machine's name or the complaint, and so must each of the
-- list $more_words; apart because looking for one word is quick, and the rarest leaves little for the others.
-- $shop, $symptom (main or other one that was there), $suspect (confirmed): "" for any. $since, $until: opening dates,
-- both included; null for no bound. $row_limit. $with_checks: their table is the longest; a list on a page spares it.
-- total: tickets found altogether; ticket; shop; machine; family; built_year; opened_on; closed_on; symptom; complaint;
-- suspect; confirmation; result; checks ("" without $with_checks); minutes.
with found as materialized (
    select ticket_id, opened_on, shop, ticket_number
    from tickets
    where ($shop = '' or shop = $shop)
      and ($since::date is null or opened_on >= $since::date)
      and ($until::date is null or opened_on <= $until::date)
      and ($symptom = '' or symptom = $symptom
           or ticket_id in (select ticket_id from ticket_symptoms where symptom = $symptom and present))
      and ($suspect = '' or ticket_id in (select ticket_id from ticket_suspects where suspect = $suspect))
      and ($word = '' or contains(lower(complaint), $word) or contains(lower(ticket_number), $word)
           or contains(lower(machine), $word))
      and (len($more_words::varchar[]) = 0
           or len(list_filter($more_words::varchar[], lambda word: not contains(
               lower(concat_ws(' ', ticket_number, machine, complaint)), word))) = 0)
),
shown as materialized (
    select ticket_id, opened_on, shop, ticket_number
    from found
    order by opened_on desc, shop, ticket_number
    limit $row_limit
),
symptoms as (
    select ticket_id, string_agg(if(present, '', 'not: ') || symptom, '; ' order by present desc, symptom) as others
    from ticket_symptoms semi join shown using (ticket_id)
    group by ticket_id
),
suspects as (
    select ticket_id, string_agg(suspect, '; ' order by suspect) as names
    from ticket_suspects semi join shown using (ticket_id)
    group by ticket_id
),
checks as (
    select ticket_id,
           string_agg(check_code || ' = ' || outcome || coalesce(' / ' || minutes::varchar, ''), '; ' order by position)
           as made
    from ticket_checks semi join shown using (ticket_id)
    where $with_checks
    group by ticket_id
)
select (select count(*) from found) as total, t.ticket_number as ticket, t.shop, coalesce(t.machine, '') as machine,
       coalesce(t.family, '') as family, t.built_year, t.opened_on, t.closed_on,
       concat_ws('; ', t.symptom, symptoms.others) as symptom, coalesce(t.complaint, '') as complaint,
       coalesce(suspects.names, '') as suspect, coalesce(t.confirmation, '') as confirmation, t.result,
       coalesce(checks.made, '') as checks, t.minutes
from shown
join tickets t using (ticket_id)
left join symptoms using (ticket_id)
left join suspects using (ticket_id)
left join checks using (ticket_id)
order by shown.opened_on desc, shown.shop, shown.ticket_number;
