-- Where in a session something was advised. $code.
-- position.
select distinct position from served_advice where code = $code order by position;
