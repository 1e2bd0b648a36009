-- Stores the checks of new tickets. Reads the registered frame new_checks. No parameters.
insert into ticket_checks by name select ticket_id, position, check_code, outcome, minutes from new_checks;
