-- Tickets that contradict themselves.
-- what: shop and number of the ticket; reason.
with facts as (
    select shop || ' ' || ticket_number as what, t.*,
           (select count(*) from ticket_suspects s where s.ticket_id = t.ticket_id) as suspect_count,
           (select count(*) from ticket_symptoms s where s.ticket_id = t.ticket_id and s.symptom = t.symptom) as repeats,
           (select count(*) from ticket_checks c where c.ticket_id = t.ticket_id) as check_count,
           (select coalesce(max(position), 0) from ticket_checks c where c.ticket_id = t.ticket_id) as last_position
    from tickets t
)
select what, 'It was closed before it was opened.' as reason from facts where closed_on < opened_on
union all
select what, 'The machine was built after the ticket was opened.' from facts where built_year > year(opened_on)
union all
select what, 'It has a suspect without a confirmation, or a confirmation without a suspect.' from facts
where (suspect_count > 0) <> (confirmation is not null)
union all
select what, 'No fault was found, yet a suspect is confirmed.' from facts
where result = 'no_fault_found' and suspect_count > 0
union all
select what, 'Its main symptom is also listed as another symptom.' from facts where repeats > 0
union all
select what, 'The positions of its checks have gaps.' from facts where check_count <> last_position
order by what, reason;
