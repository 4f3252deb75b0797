package engine

import (
	"bufio"
	"os"
	"strings"
	"testing"
)

// lifeTable reads testdata/life.txt: the cells by the letter of the state.
func lifeTable(t *testing.T) map[string][]string {
	t.Helper()
	f, err := os.Open("testdata/life.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows := map[string][]string{}
	for scanner := bufio.NewScanner(f); scanner.Scan(); {
		cells := strings.Split(strings.Trim(scanner.Text(), "| "), "|")
		if letter, found := strings.CutPrefix(strings.TrimSpace(cells[0]), "**"); found {
			for i := range cells {
				cells[i] = strings.Trim(cells[i], " *")
			}
			rows[letter[:1]] = cells[1:]
		}
	}
	return rows
}

// expected reads one cell of the printed table for given facts: the letter of the state reached, or "x". It is written from the table's words
// alone, by other means than next.
func expected(cell string, f facts, event Event) string {
	exit := "A"
	switch {
	case f.present:
		exit = "B"
	case f.latching && f.remembered:
		exit = "E"
	}
	shelved := f.shelved && event != Unshelve
	switch cell {
	case "exit":
		return exit
	case "D, L: E":
		return map[bool]string{false: "D", true: "E"}[f.latching]
	case "A, L: F":
		return map[bool]string{false: "A", true: "F"}[f.latching]
	case "G (clock restarts, never past the limit)":
		return "G"
	case "H if it was also shelved, else x":
		return map[bool]string{false: "x", true: "H"}[f.shelved]
	case "I if it was also shelved, else x":
		return map[bool]string{false: "x", true: "I"}[f.shelved]
	case "I if suppression holds, else x":
		return map[bool]string{false: "x", true: "I"}[f.suppressed]
	case "G if the shelf still runs, else exit":
		if shelved {
			return "G"
		}
		return exit
	case "H if suppression holds, G if the shelf runs, else exit":
		switch {
		case f.suppressed:
			return "H"
		case shelved:
			return "G"
		}
		return exit
	}
	return cell
}

// space is every state that an alarm can be in, each once: while something hides it the base state does not count.
func space(latching bool) []facts {
	var all []facts
	visible := map[State]facts{
		Normal: {}, Unacknowledged: {present: true, remembered: latching}, Acknowledged: {present: true, remembered: latching},
	}
	if latching {
		visible[LatchedUnacknowledged], visible[LatchedAcknowledged] = facts{remembered: true}, facts{remembered: true}
	} else {
		visible[ReturnedUnacknowledged] = facts{}
	}
	for base, f := range visible {
		f.base, f.latching = base, latching
		all = append(all, f)
	}
	for flags := 1; flags < 8; flags++ {
		for _, present := range []bool{false, true} {
			for _, remembered := range []bool{false, true} {
				if remembered && !latching || present && latching && !remembered {
					continue // only latching alarms remember, and one that is present does
				}
				all = append(all, facts{shelved: flags&1 != 0, suppressed: flags&2 != 0, removed: flags&4 != 0, present: present, remembered: remembered,
					latching: latching})
			}
		}
	}
	return all
}

// TestTable_everyCell holds next to the printed table, cell by cell, in every state of the whole space that shows the row's letter.
func TestTable_everyCell(t *testing.T) {
	rows := lifeTable(t)
	if len(rows) != int(states) {
		t.Fatalf("the printed table has %d rows, want 9", len(rows))
	}
	seen := map[[2]int]bool{}
	for _, latching := range []bool{false, true} {
		for _, f := range space(latching) {
			from := f.shown()
			for event := range events {
				want := expected(rows[from.Letter()][event], f, event)
				after, _, refusal := next(f, event)
				got := after.shown().Letter()
				if refusal != "" {
					got = "x"
				}
				seen[[2]int{int(from), int(event)}] = true
				if got != want {
					t.Errorf("%s %+v: %s gives %s, want %s", from, f, event, got, want)
				}
				if refusal != "" && after != f {
					t.Errorf("%s: a refused %s changed %+v to %+v", from, event, f, after)
				}
			}
		}
	}
	if len(seen) != 99 {
		t.Errorf("%d cells were tried, want all 99", len(seen))
	}
}

// TestTable_counts: sizes of the state space and numbers of accepted and refused steps, from the same source as the table.
func TestTable_counts(t *testing.T) {
	for _, c := range []struct {
		latching                  bool
		states, accepted, refused int
	}{{false, 18, 122, 76}, {true, 26, 177, 109}} {
		accepted, refused := 0, 0
		for _, f := range space(c.latching) {
			for event := range events {
				if _, _, refusal := next(f, event); refusal == "" {
					accepted++
				} else {
					refused++
				}
			}
		}
		if n := len(space(c.latching)); n != c.states || accepted != c.accepted || refused != c.refused {
			t.Errorf("latching %v: %d states, %d accepted, %d refused; want %d, %d, %d", c.latching, n, accepted, refused, c.states, c.accepted, c.refused)
		}
	}
}

// reachable walks from a fresh alarm through all accepted steps; hidden base states are made equal, since they do not count.
func reachable(latching bool) map[facts]bool {
	seen := map[facts]bool{}
	var visit func(f facts)
	visit = func(f facts) {
		if f.shown().Hidden() {
			f.base = Normal
		}
		if seen[f] {
			return
		}
		seen[f] = true
		for event := range events {
			if after, _, refusal := next(f, event); refusal == "" {
				visit(after)
			}
		}
	}
	visit(facts{latching: latching})
	return seen
}

// TestTable_invariants are those that the source states for the whole space.
func TestTable_invariants(t *testing.T) {
	for _, latching := range []bool{false, true} {
		seen := reachable(latching)
		if want := len(space(latching)); len(seen) != want {
			t.Errorf("latching %v: %d states can be reached, want %d", latching, len(seen), want)
		}
		for f := range seen {
			from := f.shown()
			if from == Normal && f.present {
				t.Errorf("%+v shows normal while the condition is present", f)
			}
			if (from == Unacknowledged || from == Acknowledged) && !f.present {
				t.Errorf("%+v shows %s while the condition is absent", f, from)
			}
			for event := range events {
				after, opens, refusal := next(f, event)
				if from.Hidden() && !after.shown().Hidden() && f.present && after.shown() != Unacknowledged {
					t.Errorf("%+v: %s leaves the hidden states with the condition present for %s", f, event, after.shown())
				}
				if event == Reset && (refusal == "") != (from == LatchedAcknowledged) {
					t.Errorf("%+v: reset %q", f, refusal)
				}
				wantOpen := after.shown() == Unacknowledged && from != Unacknowledged && from != Acknowledged
				if opens != wantOpen {
					t.Errorf("%+v: %s opens an occurrence: %v", f, event, opens)
				}
			}
			if !leadsToNormal(f) {
				t.Errorf("%+v: no way back to normal", f)
			}
		}
	}
}

func leadsToNormal(from facts) bool {
	seen, ahead := map[facts]bool{from: true}, []facts{from}
	for len(ahead) > 0 {
		f := ahead[0]
		ahead = ahead[1:]
		if f.shown() == Normal {
			return true
		}
		for event := range events {
			if after, _, refusal := next(f, event); refusal == "" && !seen[after] {
				seen[after] = true
				ahead = append(ahead, after)
			}
		}
	}
	return false
}
