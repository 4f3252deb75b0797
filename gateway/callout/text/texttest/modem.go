// Package texttest is the double of a cellular modem: commands, registers of state, and a network behind it. It reads and writes messages with code of
// its own, bit by bit, and shares nothing with the channel. For tests and the simulated estate.
//
// Sources: 3GPP TS 27.005, TS 27.007, TS 23.040, TS 23.038.
//
// Concurrency: Serve is called by one goroutine for each line that is plugged in; all else by any.
package texttest

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Sent is a message that the network took.
type Sent struct {
	To        string // "+" before an international number
	Text      string
	Wide      bool // UCS-2
	Septets   int  // length of the text in septets; octets if Wide
	Report    bool // a status report was asked for
	Validity  byte
	Reference byte
	PDU       string
}

// Modem is the double. Its zero value is of no use: New.
type Modem struct {
	mu     sync.Mutex // guards all below
	state  State
	stored map[int]string // PDU by place
	queue  []string       // messages that the network holds while the memory is full
	sent   []Sent
	asked  []string // commands as they came
	line   io.ReadWriteCloser
	next   byte
	typed  typed             // what text mode was told
	came   map[string]string // of messages by PDU: how text mode shows them
}

// State is what a test may set.
type State struct {
	PIN          string // that the card asks for; "": none
	Unlocked     bool
	Tries        int  // left for the PIN
	NoCPINR      bool // it cannot tell how many tries are left
	Registration int  // 1 home, 2 searching, 3 denied, 5 roaming
	LTE          bool // only +CEREG tells the registration
	Signal       int  // 0 to 31, 99
	Memory       int  // places for messages
	Echo         bool
	Text         bool          // text mode, as after power-up
	Refuse       []int         // +CMS ERROR for the next messages, one each; 0 takes it
	Busy         int           // so many commands are answered with "SIM busy"
	Silent       bool          // answers nothing
	Slow         time.Duration // between a message and its answer
	NoNotice     bool          // +CMTI is lost
	OldNotices   bool          // refuses +CNMI with reports
	OnlyText     bool          // knows no PDU mode
	Words        bool          // errors in words, whatever +CMEE says
}

// New is a modem at home in a good network.
func New() *Modem {
	return &Modem{state: State{Tries: 3, Registration: 1, Signal: 20, Memory: 20, Echo: true, Text: true, Unlocked: true}, stored: map[int]string{}, came: map[string]string{}}
}

// Set changes the state.
func (m *Modem) Set(change func(*State)) {
	m.mu.Lock()
	defer m.mu.Unlock()
	change(&m.state)
}

// Sent gives what the network took so far.
func (m *Modem) Sent() []Sent {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Clone(m.sent)
}

// Asked counts the commands that begin so.
func (m *Modem) Asked(prefix string) int {
	m.mu.Lock()
	defer m.mu.Unlock()
	n := 0
	for _, command := range m.asked {
		if strings.HasPrefix(command, prefix) {
			n++
		}
	}
	return n
}

// Commands are all that were asked, as they came.
func (m *Modem) Commands() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Clone(m.asked)
}

// Stored counts messages in the memory and those that wait for room.
func (m *Modem) Stored() (stored, waiting int) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return len(m.stored), len(m.queue)
}

// Receive lets a message arrive from the network.
func (m *Modem) Receive(from, text string) {
	pdu := Deliver(from, text)
	m.mu.Lock()
	m.came[pdu] = shownText(from, text)
	m.mu.Unlock()
	m.ReceivePDU(pdu)
}

// ReceivePDU lets any message arrive.
func (m *Modem) ReceivePDU(pdu string) {
	m.mu.Lock()
	index := m.store(pdu)
	line, quiet := m.line, m.state.NoNotice
	m.mu.Unlock()
	if index > 0 && line != nil && !quiet {
		say(line, fmt.Sprintf("+CMTI: \"SM\",%d", index))
	}
}

func (m *Modem) store(pdu string) int {
	for index := 1; index <= m.state.Memory; index++ {
		if _, taken := m.stored[index]; !taken {
			m.stored[index] = pdu
			return index
		}
	}
	m.queue = append(m.queue, pdu)
	return 0
}

// Report lets a status report arrive.
func (m *Modem) Report(reference byte, to string, status byte) {
	pdu := report(reference, to, status)
	m.mu.Lock()
	line, text := m.line, m.state.Text
	m.mu.Unlock()
	if text {
		say(line, "+CDS: "+shownReport(reference, to, status))
		return
	}
	say(line, fmt.Sprintf("+CDS: %d\r\n%s", len(pdu)/2-1, pdu))
}

// Vanish pulls the modem out.
func (m *Modem) Vanish() {
	m.mu.Lock()
	line := m.line
	m.line = nil
	m.mu.Unlock()
	if line != nil {
		_ = line.Close()
	}
}

func say(line io.Writer, text string) { _, _ = io.WriteString(line, "\r\n"+text+"\r\n") }

// Serve answers on one line until it is closed. The modem is powered up anew: it echoes, is in text mode, and its card is locked if it has a PIN.
func (m *Modem) Serve(line io.ReadWriteCloser) {
	m.mu.Lock()
	m.line, m.state.Echo, m.state.Text, m.state.Unlocked, m.typed = line, true, true, m.state.PIN == "", typed{}
	m.mu.Unlock()
	var command []byte
	message := false // a message is being typed
	one := make([]byte, 1)
	for {
		if _, err := line.Read(one); err != nil {
			return
		}
		b := one[0]
		m.mu.Lock()
		echo, silent := m.state.Echo, m.state.Silent
		m.mu.Unlock()
		if silent {
			continue
		}
		if echo && b != 0x1a && b != 0x1b {
			_, _ = line.Write(one)
		}
		switch {
		case b == 0x1b:
			if message {
				say(line, "OK")
			}
			command, message = nil, false
		case message && b == 0x1a:
			m.submit(line, string(command))
			command, message = nil, false
		case !message && b == '\r':
			message = m.command(line, strings.TrimSpace(string(command)))
			command = nil
		case b != '\n':
			command = append(command, b)
		}
	}
}

// command answers one line of commands; true if a message follows.
func (m *Modem) command(line io.Writer, text string) (message bool) {
	m.mu.Lock()
	m.asked = append(m.asked, text)
	answer := ""
	rest, ok := strings.CutPrefix(strings.ToUpper(text), "AT")
	if text == "" {
		m.mu.Unlock()
		return false
	}
	if ok {
		for _, one := range strings.Split(rest, ";") { // several commands in one line [ITU-T V.250 section 5.2.1]
			said, result := m.one(strings.TrimPrefix(one, "+"))
			answer += said
			if result != "OK" {
				answer += "\r\n" + result + "\r\n"
				ok = false
				break
			}
		}
		message = ok && strings.HasPrefix(rest, "+CMGS=")
	} else {
		answer = "\r\nERROR\r\n"
	}
	m.mu.Unlock()
	switch {
	case message:
		answer = "\r\n> "
	case ok:
		answer += "\r\nOK\r\n"
	}
	_, _ = io.WriteString(line, answer)
	return message
}

// one gives what one command says and its result.
func (m *Modem) one(c string) (said, result string) {
	s := &m.state
	name, argument, _ := strings.Cut(c, "=")
	info := func(format string, a ...any) (string, string) {
		return "\r\n" + fmt.Sprintf(format, a...) + "\r\n", "OK"
	}
	switch name {
	case "CSCS":
		if argument == "?" {
			return info(`+CSCS: ("GSM","UCS2")`)
		}
		m.typed.wide = argument == `"UCS2"`
		return "", "OK"
	case "", "CMEE", "CREG", "COPS", "CSMS", "CFUN":
		return "", "OK"
	case "CSCS?":
		return info(`+CSCS: "GSM"`)
	case "E0", "E1":
		s.Echo = name == "E1"
		return "", "OK"
	case "CPIN?":
		if s.Busy > 0 {
			s.Busy--
			return "", m.fault("CME", 14, "SIM busy")
		}
		if !s.Unlocked && s.Tries == 0 {
			return info("+CPIN: SIM PUK")
		}
		if !s.Unlocked {
			return info("+CPIN: SIM PIN")
		}
		return info("+CPIN: READY")
	case "CPINR":
		if s.NoCPINR {
			return "", m.fault("CME", 4, "operation not supported")
		}
		return info("+CPINR: SIM PIN,%d,3", s.Tries)
	case "CPIN":
		if strings.Trim(argument, `"`) != s.PIN {
			s.Tries = max(0, s.Tries-1)
			return "", m.fault("CME", 16, "incorrect password")
		}
		s.Unlocked = true
		return "", "OK"
	case "CSQ":
		return info("+CSQ: %d,99", s.Signal)
	case "CGMI", "GMI", "CGMM", "GMM", "CGMR", "GMR":
		return info("Double")
	case "CGSN":
		return info("490154203237518") // the worked example of TS 23.003 annex B, from memory
	case "CIMI":
		return info("001010123456789") // of a test network
	case "CREG?":
		if s.LTE {
			return info("+CREG: 0,0")
		}
		return info("+CREG: 0,%d", s.Registration)
	case "CEREG?":
		if s.LTE {
			return info("+CEREG: 0,%d", s.Registration)
		}
		return "", "ERROR"
	}
	return m.messages(name, argument)
}

// messages are the commands of TS 27.005.
func (m *Modem) messages(name, argument string) (said, result string) {
	s := &m.state
	switch {
	case !s.Unlocked:
		return "", m.fault("CMS", 311, "SIM PIN required")
	case name == "CMGF" && argument == "?":
		said = "\r\n+CMGF: (0,1)\r\n"
	case name == "CNMI" && argument == "?":
		said = "\r\n+CNMI: (0-2),(0-3),(0,2),(0-2),(0,1)\r\n"
	case name == "CSCA?":
		said = "\r\n+CSCA: \"+51900000099\",145\r\n"
	case name == "CPMS" && argument == "?":
		said = "\r\n+CPMS: (\"SM\"),(\"SM\"),(\"SM\")\r\n"
	case name == "CPMS":
		said = fmt.Sprintf("\r\n+CPMS: %[1]d,%[2]d,%[1]d,%[2]d,%[1]d,%[2]d\r\n", len(m.stored), s.Memory)
	case name == "CPMS?":
		said = fmt.Sprintf("\r\n+CPMS: \"SM\",%[1]d,%[2]d,\"SM\",%[1]d,%[2]d,\"SM\",%[1]d,%[2]d\r\n", len(m.stored), s.Memory)
	case name == "CMGR" && !s.Text:
		index, err := strconv.Atoi(argument)
		pdu, ok := m.stored[index]
		if err != nil || !ok {
			return "", m.fault("CMS", 321, "invalid memory index")
		}
		said = fmt.Sprintf("\r\n+CMGR: 0,,%d\r\n%s\r\n", len(pdu)/2-1, pdu)
	case name == "CMGF" && argument == "0" && s.OnlyText:
		return "", m.fault("CMS", 303, "operation not supported")
	case name == "CSMP":
		if !m.typed.settings(argument) {
			return "", m.fault("CMS", 305, "invalid text mode parameter")
		}
	case name == "CMGF":
		s.Text = argument != "0"
	case name == "CNMI":
		if s.OldNotices && strings.Split(argument, ",")[3] != "0" {
			return "", m.fault("CMS", 303, "operation not supported")
		}
	case name == "CMGS":
		if s.Text && !m.typed.number(argument) {
			return "", m.fault("CMS", 305, "invalid text mode parameter")
		}
	case name == "CMGL" && s.Text && argument == `"ALL"` && m.typed.wide:
		for index := 1; index <= s.Memory; index++ {
			if shown := m.came[m.stored[index]]; shown != "" {
				said += fmt.Sprintf("\r\n+CMGL: %d,\"REC UNREAD\",%s\r\n", index, shown)
			}
		}
	case name == "CMGL" && !s.Text:
		for index := 1; index <= s.Memory; index++ {
			if pdu, ok := m.stored[index]; ok {
				said += fmt.Sprintf("\r\n+CMGL: %d,0,,%d\r\n%s\r\n", index, len(pdu)/2-1, pdu)
			}
		}
	case name == "CMGD":
		index, err := strconv.Atoi(argument)
		if _, ok := m.stored[index]; err != nil || !ok {
			return "", m.fault("CMS", 321, "invalid memory index")
		}
		delete(m.stored, index)
		if len(m.queue) > 0 {
			m.store(m.queue[0])
			m.queue = m.queue[1:]
		}
	default:
		return "", "ERROR"
	}
	return said, "OK"
}

func (m *Modem) fault(kind string, code int, words string) string {
	if m.state.Words {
		return fmt.Sprintf("+%s ERROR: %s", kind, words)
	}
	return fmt.Sprintf("+%s ERROR: %d", kind, code)
}

// submit takes a message to the network.
func (m *Modem) submit(line io.Writer, pdu string) {
	m.mu.Lock()
	slow := m.state.Slow
	m.mu.Unlock()
	if slow > 0 {
		time.Sleep(slow)
	}
	m.mu.Lock()
	answer := m.outcome(strings.TrimSpace(pdu))
	m.mu.Unlock()
	_, _ = io.WriteString(line, answer)
}

func (m *Modem) outcome(pdu string) string {
	if len(m.state.Refuse) > 0 {
		code := m.state.Refuse[0]
		m.state.Refuse = m.state.Refuse[1:]
		if code != 0 {
			return "\r\n" + m.fault("CMS", code, "unknown error") + "\r\n"
		}
	}
	read := ReadSubmit
	if m.state.Text {
		read = m.typed.message
	}
	message, err := read(pdu)
	if err != nil {
		return "\r\n+CMS ERROR: 304\r\n"
	}
	m.next++
	message.Reference = m.next
	m.sent = append(m.sent, message)
	return fmt.Sprintf("\r\n+CMGS: %d\r\n\r\nOK\r\n", m.next)
}
