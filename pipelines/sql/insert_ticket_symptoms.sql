-- Stores the other symptoms of new tickets. Reads the registered frame new_symptoms. No parameters.
insert into ticket_symptoms by name select ticket_id, symptom, present from new_symptoms;
