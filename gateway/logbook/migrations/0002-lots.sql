-- Lots are folded from their entries in the record, which hold all that stood in the table of stays.
DROP TABLE stay;

-- A record of years is mostly of alarms and messages; a start reads only what was done to lots.
CREATE INDEX entry_of_lots ON entry (id) WHERE kind = 'lot';
