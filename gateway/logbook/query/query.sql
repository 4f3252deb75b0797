-- name: InsertEntry :exec
INSERT INTO entry (id, wall, mono, boot, clock, kind, alarm, occurrence, place, lot, who, why, text, data, seal)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?);

-- name: LastEntry :one
SELECT id, seal FROM entry ORDER BY id DESC LIMIT 1;

-- name: EntriesAfter :many
SELECT * FROM entry WHERE id > ? ORDER BY id LIMIT ?;

-- name: LotEntriesAfter :many
SELECT * FROM entry WHERE kind = 'lot' AND id > ? ORDER BY id LIMIT ?;

-- name: Entries :many
SELECT * FROM entry
WHERE id > sqlc.arg(after)
  AND (CAST(sqlc.arg(kinds) AS TEXT) = '' OR instr(CAST(sqlc.arg(kinds) AS TEXT), '|' || kind || '|') > 0)
  AND (CAST(sqlc.arg(alarm) AS TEXT) = '' OR alarm = sqlc.arg(alarm))
  AND (CAST(sqlc.arg(occurrence) AS INTEGER) = 0 OR occurrence = sqlc.arg(occurrence))
  AND (CAST(sqlc.arg(place) AS TEXT) = '' OR place = sqlc.arg(place))
  AND (CAST(sqlc.arg(lot) AS TEXT) = '' OR lot = sqlc.arg(lot))
  AND wall >= sqlc.arg(begins) AND wall < sqlc.arg(ends)
  AND (CAST(sqlc.arg(before) AS INTEGER) = 0 OR id < sqlc.arg(before))
  AND (CAST(sqlc.arg(words) AS TEXT) = ''
       OR instr(lower(text || ' ' || why || ' ' || who || ' ' || alarm || ' ' || place || ' ' || lot), CAST(sqlc.arg(words) AS TEXT)) > 0)
ORDER BY id LIMIT sqlc.arg(most);

-- name: EntriesBackward :many
SELECT * FROM entry
WHERE id > sqlc.arg(after)
  AND (CAST(sqlc.arg(kinds) AS TEXT) = '' OR instr(CAST(sqlc.arg(kinds) AS TEXT), '|' || kind || '|') > 0)
  AND (CAST(sqlc.arg(alarm) AS TEXT) = '' OR alarm = sqlc.arg(alarm))
  AND (CAST(sqlc.arg(occurrence) AS INTEGER) = 0 OR occurrence = sqlc.arg(occurrence))
  AND (CAST(sqlc.arg(place) AS TEXT) = '' OR place = sqlc.arg(place))
  AND (CAST(sqlc.arg(lot) AS TEXT) = '' OR lot = sqlc.arg(lot))
  AND wall >= sqlc.arg(begins) AND wall < sqlc.arg(ends)
  AND (CAST(sqlc.arg(before) AS INTEGER) = 0 OR id < sqlc.arg(before))
  AND (CAST(sqlc.arg(words) AS TEXT) = ''
       OR instr(lower(text || ' ' || why || ' ' || who || ' ' || alarm || ' ' || place || ' ' || lot), CAST(sqlc.arg(words) AS TEXT)) > 0)
ORDER BY id DESC LIMIT sqlc.arg(most);

-- name: EntriesOfOccurrence :many
SELECT * FROM entry WHERE occurrence > 0 AND occurrence = ? AND alarm = ? ORDER BY id;

-- name: SaveEngine :exec
INSERT INTO engine (id, state, crc) VALUES (1, ?, ?) ON CONFLICT (id) DO UPDATE SET state = excluded.state, crc = excluded.crc;

-- name: LoadEngine :one
SELECT state, crc FROM engine WHERE id = 1;

-- name: LastBoot :one
SELECT number, kernel FROM boot ORDER BY number DESC LIMIT 1;

-- name: InsertBoot :one
INSERT INTO boot (kernel, wall) VALUES (?, ?) RETURNING number;

-- name: InsertCalibration :one
INSERT INTO calibration (wall, mono, boot, clock, probe, channel, kind, points, as_found, as_left, who, note)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id;

-- name: Calibrations :many
SELECT * FROM calibration WHERE CAST(sqlc.arg(probe) AS TEXT) = '' OR probe = sqlc.arg(probe) ORDER BY id DESC;

-- name: InsertToken :exec
INSERT INTO token (hash, alarm, occurrence, person, title, expires) VALUES (?, ?, ?, ?, ?, ?);

-- name: Token :one
SELECT * FROM token WHERE hash = ?;

-- name: UseToken :execrows
UPDATE token SET used = ? WHERE hash = ? AND used IS NULL;

-- name: ForgetTokens :execrows
DELETE FROM token WHERE expires < ?;
