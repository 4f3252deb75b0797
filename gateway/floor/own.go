package floor

// OwnPoint says in words how a point is found that the gateway gives of itself: of the board, a bus, a channel, a probe, a voted point. kind is that word; false where the gateway gives none of that name.
func OwnPoint(kind, short string) (string, bool) {
	text, ok := ownPoints[kind][short]
	return text, ok
}

// ownPoints by what they are of. The board looks at itself every boardEvery; a bus is told of after each round of its worker.
var ownPoints = map[string]map[string]string{
	"board": {
		"temperature":      "the first thermal zone that the kernel knows",
		"mains":            "a line of the board that a probe of the site gives; the gateway itself does not know it",
		"disk-free":        "free room of the file system of the data folder / its size",
		"memory-free":      "memory that the kernel calls available / all memory",
		"clock-set":        "somebody synchronised the clock since the start, and it is not years off the record",
		"clock-step":       "by how much the clock was set in its newest step, of the last hour",
		"outbox-age":       "age of the oldest reading that the store has not yet answered for",
		"outbox-readings":  "readings of the history whose position is past what the store has answered for",
		"unsent-room":      "room left for the history / room that unsent readings take a day",
		"refused-readings": "readings that the store refused, as the forwarder counts them",
		"store-answers":    "neither publisher nor forwarder has trouble with the store",
		"broker-answers":   "the session with the broker stands",
		"logbook-writes":   "the last entry was written and synced",
		"files-set-aside":  "damaged files of the data folder that were kept under another name since the start",
		"damaged-readings": "readings of the history whose checksum does not hold",
		"rules-refused":    "the rules file on the disk has faults, and the one before is in force",
		"watcher-set":      "the rules file names an outside-watcher",
		"drill-age":        "time since the last drill in the logbook",
		"backup-age":       "time since the last backup that was read again whole",
		"heard":            "something came from that board within its silent-after",
		"same-rules":       "the hash of the rules that board judges by is that of the copy here",
	},
	"bus": {
		"answers":      "at least one of its probes answered when it was asked last",
		"silent-parts": "probes that did not answer when they were asked last",
		"lateness":     "how much later than its update time the latest probe of the last round was asked",
	},
	"channel": {
		"works":      "the last hand-over was taken, and the part behind it answers",
		"signal":     "what the modem says, 0 to 31, as a share",
		"registered": "the modem says that a network has taken it, at home or roaming",
		"card-works": "the modem says that its SIM card is there, unlocked and not refused",
		"queue-age":  "age of the oldest message that waits there",
		"proven-age": "time since it last took a message",
	},
	"probe": {
		"calibration-age":     "time since the last calibration in the logbook",
		"calibration-due-in":  "calibrate-every less calibration-age",
		"calibration-refused": "the last calibration was judged and refused",
		"entry-due-in":        "every less the time since people entered it last",
		"slope":               "measured slope of the electrode / that of Nernst at its temperature, from the last calibration",
		"battery":             "what the radio probe says of itself",
		"signal":              "what the radio probe says of itself",
	},
	"point": {
		"value":       "the point itself",
		"update-time": "the `every` of its probe",
		"disagrees":   "what is voted on lies further apart than the vote allows",
	},
}
