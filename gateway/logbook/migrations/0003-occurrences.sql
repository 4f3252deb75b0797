-- Whoever is called for an occurrence, it is asked what was tried for it: a record of years is not read through for that.
CREATE INDEX entry_of_occurrence ON entry (occurrence) WHERE occurrence > 0;
