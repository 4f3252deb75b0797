-- Times are Unix milliseconds. Names are those of persons of the rules file.

-- password: Argon2id in the string form of the Password Hashing Competition, with its parameters.
CREATE TABLE login (
    name     TEXT    PRIMARY KEY,
    password TEXT    NOT NULL,
    changed  INTEGER NOT NULL
) STRICT;

-- One-time codes, one a person: SHA-256 of the code.
CREATE TABLE code (
    name    TEXT    PRIMARY KEY,
    hash    BLOB    NOT NULL,
    expires INTEGER NOT NULL
) STRICT;

-- Sessions: SHA-256 of what the browser holds. It ends at ends, or idle milliseconds after it was seen.
CREATE TABLE session (
    hash  BLOB    PRIMARY KEY,
    name  TEXT    NOT NULL,
    begun INTEGER NOT NULL,
    seen  INTEGER NOT NULL,
    idle  INTEGER NOT NULL,
    ends  INTEGER NOT NULL
) STRICT;
CREATE INDEX session_of ON session (name);
