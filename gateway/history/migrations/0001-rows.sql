-- The readings of the board. crc is a CRC32C over the other columns, as the code beside this file reckons it: SQLite has no checksums of its own.

-- Points by number. A point that comes to measure something else, or whose step changes, gets a new number: old rows keep their meaning.
CREATE TABLE point (
    id       INTEGER PRIMARY KEY,
    name     TEXT    NOT NULL,
    quantity TEXT    NOT NULL,
    steps    REAL    NOT NULL,
    crc      INTEGER NOT NULL
) STRICT;

-- Why a quality is not good, by number.
CREATE TABLE cause (
    id   INTEGER PRIMARY KEY,
    text TEXT    NOT NULL,
    crc  INTEGER NOT NULL
) STRICT;

-- All readings of one append; first is the position of the first of them. The CRC is the end of data.
CREATE TABLE row (
    first INTEGER PRIMARY KEY,
    data  BLOB    NOT NULL
) STRICT;

-- A stretch of rows that follow one another, with the wall times of its readings in Unix milliseconds: finds rows by time. previous is the last
-- position of the stretch before, so that a stretch that is not there shows. unset counts readings without a known wall time.
CREATE TABLE stretch (
    first    INTEGER PRIMARY KEY,
    last     INTEGER NOT NULL,
    previous INTEGER NOT NULL,
    low      INTEGER NOT NULL,
    high     INTEGER NOT NULL,
    unset    INTEGER NOT NULL,
    crc      INTEGER NOT NULL
) STRICT;

-- The row that holds a point's newest reading, as of the newest stretch. It needs no CRC: the row has one.
CREATE TABLE newest (
    point INTEGER PRIMARY KEY,
    first INTEGER NOT NULL
) STRICT;

-- last: end of the last row as of the newest stretch, so that a tail that is not there shows. The others: how far the store has the readings.
CREATE TABLE mark (
    id     INTEGER PRIMARY KEY CHECK (id = 1),
    last   INTEGER NOT NULL,
    safe   INTEGER NOT NULL,
    stored INTEGER NOT NULL,
    boot   TEXT    NOT NULL,
    crc    INTEGER NOT NULL
) STRICT;
