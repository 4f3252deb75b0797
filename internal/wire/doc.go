// Package wire is what boards, broker and store say to each other: topics, packs and marks. These forms are fixed; gateway/publish and
// gateway/forward both hold to them, and people's own tools may.
//
// # Topics
//
// ROOT is the root of the broker block, SITE, BOARD, AREA, STATION, POINT, PLACE and NAME are names of the rules file. No area may be
// called "alarm".
//
//	ROOT/SITE/BOARD/pack             board to forwarder: packs; QoS 1, not retained. The forwarder subscribes with QoS 0:
//	                                 its acknowledgement would promise nothing that the mark does not
//	ROOT/SITE/BOARD/mark             forwarder to board: marks; QoS 0, not retained, repeated
//	ROOT/SITE/BOARD/state            "online", by last will "offline"; QoS 1, retained. The forwarder has one too, under its own name
//	ROOT/SITE/BOARD/rules            SHA-256 in hex over the texts of the board's rules file; QoS 1, retained. A hub compares it
//	ROOT/SITE/AREA/STATION/POINT     newest reading of a point; QoS 0, retained. What belongs to no station (board/disk-free,
//	                                 i2c-1/answers) stands under its board: ROOT/SITE/BOARD/board/disk-free
//	ROOT/SITE/alarm/PLACE/NAME       an alarm as a JSON object; QoS 1, retained; an empty payload when it is no more. PLACE may be a full
//	                                 point and so two levels
//
// # Readings
//
// Packs and newest readings are SenML [RFC 8428] in JSON, as internal/reading writes them: full name SITE/AREA/STATION/POINT, the value in
// the primary unit, the time to the millisecond; and, where needed, a record NAME:quantity before the first value whose unit does not tell
// what it is, a record NAME:quality ("uncertain:CAUSE", "bad:CAUSE") before a value that is not good, and that record alone where nothing was
// read. Values stand on the steps that the history keeps of their quantity and come back exactly.
//
// # Packs
//
// A pack goes when 64 readings wait or one second has passed, and holds at most 256, behind six records that say what it stands for. Their names begin with
// SITE/BOARD:pack/ and they have no time:
//
//	stream      text: this start of the publisher. Positions of two streams must not be mixed: a restored backup or a new history counts anew
//	from, to    the positions in the history that the pack stands for, both included. It may hold fewer readings: retention, or a reading
//	            whose time will never be known, leave gaps that count as done
//	watermark   up to here the board knows its readings safe in the store
//	stored      up to here the store had answered when the board heard it last
//	boot        text: under which start of the store's process that was
//
// # Marks
//
// A mark is a JSON object {"stream", "store", "commit", "next", "boot"} with "refused" (readings the store would not take, which the mark
// passes) and "trouble" (why the store does not answer) where there are any.
//
// # The commit mark
//
// A PUBACK says that the broker took a pack, not that anybody stored it, and a store's answer may come seconds before its disk. So the
// board's watermark moves only by what comes back from the far end.
//
// The forwarder keeps for each board: next, the end of the unbroken run that the store has answered under its present boot id; and commit,
// the value that next had durable-after ago, as of the last time the store's metrics page confirmed that boot id. A pack that does not join
// the run is thrown away: it comes again. Another boot id throws next back to commit. A forwarder that knows nothing of a board begins at the
// pack's stored, if the pack's boot is the present one, else at its watermark; so it needs no disk. Where durable-after is 0, the store's
// answer is final: commit is next, and no boot id is asked for. Where it is not 0 and the store tells no boot id, commit does not move, and
// the marks say so.
//
// The board ignores marks of another stream or store. It keeps its watermark from commit only. It sends from the end of the run, at most 16
// packs ahead of the PUBACKs (which steer flow and nothing else) and a bounded number of readings ahead of next. It goes back to next when
// next went back, when the boot id changed, or when next stood still for 3 s with readings out (60 s while the forwarder reports trouble). Where no mark was heard
// for 3 s it sends one pack each 3 s, so that a forwarder that comes learns of the board.
//
// Timestamps of one point must strictly increase by the millisecond (the history sees to it); the store holds one reading per point and
// time. So whatever is sent twice is stored once.
//
// # In the store
//
// Measurement: the quantity's name. Tags: area, board, point, site, station. Fields: value, a float in the base unit of the quantity (not
// there where the reading is missing); quality, a float: 0 good, 1 uncertain, 2 bad. Times in milliseconds.
//
// # Concurrency
//
// An Encoder and a Decoder belong to one goroutine each; the rest are values.
package wire
