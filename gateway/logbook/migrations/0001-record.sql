-- Wall times are Unix milliseconds, monotonic times milliseconds since the boot of the board. boot orders them, clock is 1 if the wall clock was set.

-- The record. seal is a SHA-256 over the seal of the entry before and all columns of this one, as seal.go reckons it.
CREATE TABLE entry (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    wall       INTEGER NOT NULL,
    mono       INTEGER NOT NULL,
    boot       INTEGER NOT NULL,
    clock      INTEGER NOT NULL,
    kind       TEXT    NOT NULL,
    alarm      TEXT    NOT NULL,
    occurrence INTEGER NOT NULL,
    place      TEXT    NOT NULL,
    lot        TEXT    NOT NULL,
    who        TEXT    NOT NULL,
    why        TEXT    NOT NULL,
    text       TEXT    NOT NULL,
    data       TEXT    NOT NULL,
    seal       BLOB    NOT NULL
);

CREATE TRIGGER entry_is_not_changed BEFORE UPDATE ON entry
BEGIN
    SELECT RAISE(ABORT, 'the record is append-only: write a correction');
END;

CREATE TRIGGER entry_is_not_removed BEFORE DELETE ON entry
BEGIN
    SELECT RAISE(ABORT, 'the record is append-only: nothing is removed');
END;

-- What the engine must know again after a start; one row.
CREATE TABLE engine (
    id    INTEGER PRIMARY KEY CHECK (id = 1),
    state BLOB    NOT NULL,
    crc   INTEGER NOT NULL
);

-- Boots of the board. kernel is the kernel's own id of the boot: the same while only the process starts anew.
CREATE TABLE boot (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    kernel TEXT    NOT NULL,
    wall   INTEGER NOT NULL
);

-- Checks of probes against references.
CREATE TABLE calibration (
    id       INTEGER PRIMARY KEY AUTOINCREMENT,
    wall     INTEGER NOT NULL,
    mono     INTEGER NOT NULL,
    boot     INTEGER NOT NULL,
    clock    INTEGER NOT NULL,
    probe    TEXT    NOT NULL,
    channel  TEXT    NOT NULL,
    kind     TEXT    NOT NULL,
    points   TEXT    NOT NULL,
    as_found TEXT    NOT NULL,
    as_left  TEXT    NOT NULL,
    who      TEXT    NOT NULL,
    note     TEXT    NOT NULL
);
CREATE INDEX calibration_of_probe ON calibration (probe, id);

-- Lots on stations. The ended_ columns are NULL while the stay lasts; a station holds one lot at a time.
CREATE TABLE stay (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    station     TEXT    NOT NULL,
    lot         TEXT    NOT NULL,
    wall        INTEGER NOT NULL,
    mono        INTEGER NOT NULL,
    boot        INTEGER NOT NULL,
    clock       INTEGER NOT NULL,
    ended_wall  INTEGER,
    ended_mono  INTEGER,
    ended_boot  INTEGER,
    ended_clock INTEGER,
    loaded_kg   REAL    NOT NULL,
    unloaded_kg REAL    NOT NULL,
    who         TEXT    NOT NULL,
    emptied_by  TEXT    NOT NULL,
    note        TEXT    NOT NULL
);
CREATE UNIQUE INDEX stay_stands ON stay (station) WHERE ended_wall IS NULL;
CREATE INDEX stay_of_lot ON stay (lot);

-- Answer links: what the link holds is not kept, only its SHA-256.
CREATE TABLE token (
    hash       BLOB    PRIMARY KEY,
    alarm      TEXT    NOT NULL,
    occurrence INTEGER NOT NULL,
    person     TEXT    NOT NULL,
    title      TEXT    NOT NULL,
    expires    INTEGER NOT NULL,
    used       INTEGER
);
