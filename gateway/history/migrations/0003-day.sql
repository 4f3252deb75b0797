-- What there should be of a point's day in the table chunk, so that a chunk that is not there shows. key is that of a chunk that begins with the day.
-- hours has a bit for each hour that has a chunk, the lowest the first, and bit 24 for one of the whole day.
CREATE TABLE day (
    key   INTEGER PRIMARY KEY,
    hours INTEGER NOT NULL,
    crc   INTEGER NOT NULL
) STRICT;
