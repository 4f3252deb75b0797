-- Readings of a point, rolled up: of an hour, later of a day. key is point * 2^32 + 2^31 + the hour since 1970 (UTC) at which the chunk begins, so that
-- the chunks of a point lie together in the order of time. hours is 1 or 24. The CRC is the end of data and covers the other columns too.
CREATE TABLE chunk (
    key   INTEGER PRIMARY KEY,
    hours INTEGER NOT NULL,
    count INTEGER NOT NULL,
    data  BLOB    NOT NULL
) STRICT;
