-- Stores the confirmed suspects of new tickets. Reads the registered frame new_suspects. No parameters.
insert into ticket_suspects by name select ticket_id, suspect from new_suspects;
