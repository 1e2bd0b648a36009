-- The tickets of a pool kept one row a ticket (Parquet, split by shop), counted to cells. Reads the registered table or
-- view pooled_tickets. Written in words that other engines know too, so that a pool that outgrows one machine is counted
-- by the same text on many.
-- symptom, family, age_band, suspect, confirmation (codes, '' where unknown); weight (tickets).
select symptom, family, age_band, suspect, confirmation, cast(count(*) as double) as weight
from pooled_tickets
group by symptom, family, age_band, suspect, confirmation
order by symptom, family, age_band, suspect, confirmation
