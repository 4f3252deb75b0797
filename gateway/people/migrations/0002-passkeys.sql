-- Passkeys: what a device may prove with a key of which only the public half is here.
-- handle: random, one a person; the device gives it back. record: the library's credential as JSON, with public key and counter.
CREATE TABLE passkey (
    id     BLOB    PRIMARY KEY,
    name   TEXT    NOT NULL,
    handle BLOB    NOT NULL,
    record TEXT    NOT NULL,
    made   INTEGER NOT NULL,
    used   INTEGER NOT NULL
) STRICT;
CREATE INDEX passkey_of ON passkey (name);
