-- Workshops that have tickets. No parameters.
-- shop.
select distinct shop from tickets order by shop;
