package text

import (
	"encoding/hex"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"millwarden/gateway/callout/text/texttest"
)

// Worked examples that are printed in many introductions to TS 23.040 and TS 23.038; from memory.
func TestExamples(t *testing.T) {
	if got := strings.ToUpper(hex.EncodeToString(pack(septets("hellohello")))); got != "E8329BFD4697D9EC37" {
		t.Errorf("pack = %s", got)
	}
	if got := fromSeptets(unpack([]byte("\xE8\x32\x9B\xFD\x46\x97\xD9\xEC\x37"), 0, 10)); got != "hellohello" {
		t.Errorf("unpack = %q", got)
	}
	// The example's own validity is AA (4 d), its first octet 11: no report. Ours are 0B and 31.
	pdu, octets, err := submit("+46708251358", "hellohello")
	if want := "0031000B916407281553F800000B0AE8329BFD4697D9EC37"; err != nil || pdu != want || octets != len(want)/2-1 {
		t.Errorf("submit = %s, %d, %v, want %s", pdu, octets, err, want)
	}
	m, err := decode("07911326040000F0040B911346610089F60000208062917314080CC8F71D14969741F977FD07")
	if err != nil || m.from != "+31641600986" || m.text != "How are you?" || m.report {
		t.Errorf("decode = %+v, %v", m, err)
	}
	if want := time.Date(2002, 8, 26, 19, 37, 41, 0, time.UTC); !m.at.Equal(want) {
		t.Errorf("time %v, want %v", m.at, want)
	}
}

// The double reads every length and every sign as it was meant, by its own code.
func TestSubmit_everyLength(t *testing.T) {
	letters := ""
	for code, sign := range alphabet {
		if code != escape {
			letters += string(sign)
		}
	}
	letters += "^{}\\[~]|€"
	all := []rune(letters + letters)
	for n := 0; n <= len(all); n++ {
		text := string(all[len(all)-n:])
		if count, _ := septetsOf(text); count > septetsMost {
			break
		}
		for _, phone := range []string{"+51900000001", "900 000 01"} {
			pdu, octets, err := submit(phone, text)
			got, readErr := texttest.ReadSubmit(pdu)
			if err != nil || readErr != nil || got.Text != text || got.To != strings.ReplaceAll(phone, " ", "") || octets != len(pdu)/2-1 {
				t.Fatalf("%d letters to %s: %v, %v, %+v", n, phone, err, readErr, got)
			}
		}
	}
}

func TestDecode_whatTheDoubleWrites(t *testing.T) {
	for _, text := range []string{"", "1 0412", "Ok, voy yo: ¡ya! @£$", strings.Repeat("abcdefg", 22), "1 0412 ✓ sí"} {
		for _, from := range []string{"+51900000001", "90000001", "900000012", "Operator"} {
			m, err := decode(texttest.Deliver(from, text))
			if err != nil || m.text != text || m.from != from {
				t.Errorf("%q from %q: %+v, %v", text, from, m, err)
			}
		}
	}
	// Zones count quarters of an hour, tens in the low half with the sign at bit 3 [TS 23.040 section 9.2.3.11]: 02 is 20 quarters, 0A is -20.
	for zone, hour := range map[string]int{"02": 15, "0A": 25} {
		m, err := decode("0004" + texttest.Address("+51900000001") + "0000" + "621141020200" + zone + "00")
		if want := time.Date(2026, 11, 14, hour, 20, 0, 0, time.UTC); err != nil || !m.at.Equal(want) {
			t.Errorf("zone %s: %v, %v, want %v", zone, m.at, err, want)
		}
	}
	// A long message in parts, seven bits behind a header of six octets: one bit is filled up [TS 23.040 figure 9.2.3.24 (a)]. "1 04" as hand-made
	// septets: 31 20 30 34 from bit 49 on.
	m, err := decode("00" + "44" + texttest.Address("+51900000001") + "0000" + "62114132020002" + "0B" + "050003010101" + "6220180D")
	if err != nil || m.text != "1 04" {
		t.Errorf("with a header: %+v, %v", m, err)
	}
}

func TestPlain(t *testing.T) {
	// What the checker of the rules language promises to be changed on the way.
	const promised = "áíóúÁÍÓÚãõâêôç°’‘“”–—…µ"
	for _, sign := range promised {
		if _, ok := septetsOf(plain(string(sign))); !ok {
			t.Errorf("%c has no plain form", sign)
		}
	}
	for from, want := range map[string]string{
		"51.0 °C, 113 °F": "51.0 C, 113 F", "límite desde aquí": "limite desde aqui", "señal é ñ": "señal é ñ", "Łódź": "Lodz", "a\r\nb\tc": "a b c",
		"a\x1a\x1bb": "ab", "e\u0301": "é", "a\u0301": "a", "25 µm": "25 um", "≥ 3 → 4": ">= 3 -> 4", "日本": "日本", "Ç ç": "Ç c",
	} {
		if got := plain(from); got != want {
			t.Errorf("plain(%q) = %q, want %q", from, got, want)
		}
	}
}

// Check value M55 of the measurement tables: a degree sign would make a message one of 70 letters, so none goes out. The double reads what was sent by its own code: 7 bits a letter (data coding
// 00) and 160 of them in one message.
func TestSubmit_noDegreeSign(t *testing.T) {
	if count, basic := septetsOf("63.4 °C"); basic {
		t.Errorf("63.4 °C is %d letters of 7 bits, want that there is no ° among them", count)
	}
	sent := plain("63.4 °C")
	pdu, _, err := submit("+51900000001", sent+strings.Repeat("x", septetsMost-len(sent)))
	got, readErr := texttest.ReadSubmit(pdu)
	if err != nil || readErr != nil || !strings.HasPrefix(got.Text, "63.4 C") || len(got.Text) != 160 {
		t.Errorf("sent %q: %v, %v, want 63.4 C and 160 letters in one message", got.Text, err, readErr)
	}
}

func TestFit(t *testing.T) {
	const answer = "Reply 1 0412 = I am on it."
	for _, c := range []struct{ name, body, want string }{
		{"short", "BIN 1 hot.", "BIN 1 hot. " + answer},
		{"long", strings.Repeat("word ", 40) + "end.", strings.TrimSpace(strings.Repeat("word ", 26)) + ".. " + answer},
		{"no spaces", strings.Repeat("x", 300), strings.Repeat("x", 131) + ".. " + answer},
		{"signs of two septets", strings.Repeat("[", 100), strings.Repeat("[", 65) + ".. " + answer},
		{"other letters", strings.Repeat("乾燥 ", 30), strings.TrimSpace(strings.Repeat("乾燥 ", 14)) + ".. " + answer},
	} {
		if got := fit(c.body, answer); got != c.want || !short(got) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	exact := strings.Repeat("x", septetsMost-1-len(answer))
	if got := fit(exact, answer); got != exact+" "+answer {
		t.Errorf("160 septets were cut: %q", got)
	}
	const body = "BIN 1, since 02:14 temperature 31.0 °C, limit 30.0 °C, since 02:14. " + "Turn it over into the next bin, and look again in an hour. Then tell the owner."
	spare := []string{", since 02:14", ", limit 30.0 °C"}
	for _, c := range []struct{ end, want string }{
		{"", strings.Replace(body, ", since 02:14.", ".", 1)}, // what is said last goes, not the name of the place
		{" Now it is.", strings.Replace(body, ", limit 30.0 °C, since 02:14.", ".", 1) + " Now it is."},
	} {
		if got := fit(body+c.end, answer, spare...); got != plain(c.want)+" "+answer || len(got) > septetsMost {
			t.Errorf("what can be spared: %q", got)
		}
	}
}

func TestParseAnswer(t *testing.T) {
	for text, want := range map[string]int64{
		"1 0412": 412, "1 412": 412, " 1  0412 ": 412, "1 0412 ok": 412, "1,0412.": 412, "10412": 412, "1-0412": 412, "1 0412 = I am on it.": 412, "\"1 0412\"": 412,
		"1 12345": 12345, "112345": 12345,
		"": 0, "1": 0, "ok": 0, "0412": 0, "2 0412": 0, "11 0412": 0, "Reply 1 0412": 0, "1 0": 0, "1 99999999999999999999": 0, "1042": 0, "-1 0412": 0, "1\x00": 0,
	} {
		got, ok := parseAnswer(text)
		if got != want && ok || ok != (want > 0) {
			t.Errorf("parseAnswer(%q) = %d, %v, want %d", text, got, ok, want)
		}
	}
}

func TestSameNumber(t *testing.T) {
	for _, c := range []struct {
		roster, sender string
		same           bool
	}{
		{"+51 900 000 001", "+51900000001", true}, {"+51 900-000-001", "51900000001", true}, {"+51 900 000 001", "0051900000001", true},
		{"+51 900 000 001", "900000001", true}, {"+51 900 000 001", "0900000001", true},
		{"+51 900 000 001", "+52900000001", false}, {"+51 900 000 001", "+900000001", false}, {"+51 900 000 001", "0052900000001", false},
		{"+51 900 000 001", "0000001", false}, {"+51 900 000 001", "900000002", false}, {"+51 900 000 001", "", false}, {"", "", false},
		{"+51 900 000 001", "Operator", false}, {"+51 900 000 001", "Ana51900000001", false}, {"", "+51900000001", false},
	} {
		if got := SameNumber(c.roster, c.sender); got != c.same {
			t.Errorf("SameNumber(%q, %q) = %v", c.roster, c.sender, got)
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add("07911326040000F0040B911346610089F60000208062917314080CC8F71D14969741F977FD07")
	f.Add("0006010B911326880736F4111011719551401110117195714000")
	f.Add(texttest.Deliver("Operator", "1 0412 ✓"))
	f.Add("+CMGL: 1,\"REC UNREAD\",\"002B00350031\",,\"26/11/14,23:20:00-20\"\n003100200030003400310032")
	f.Add("+CDS: 6,7,\"002B00350031\",145,\"26/11/14,23:20:00-20\",\"26/11/14,23:20:05-20\",0")
	f.Add("+C:\x9b\x9b\x9b\x9b,,\n\x9b") // found in 15 s of fuzzing: each such byte is one sign, of three bytes
	f.Fuzz(func(t *testing.T, pdu string) {
		m, err := read(pdu) // a line of text mode is as long as lines are: splitter bounds it
		if words := strings.HasPrefix(pdu, "+C"); !words && (len([]rune(m.text)) > 2*pduMost || err == nil && len(m.from) > digitsMost+1) || words && len([]rune(m.text+m.from)) > len(pdu) || words && !utf8.ValidString(m.text+m.from) {
			t.Errorf("read(%q) = %+v", pdu, m)
		}
		if n, ok := parseAnswer(m.text); ok && n <= 0 {
			t.Errorf("answer %d", n)
		}
	})
}

func FuzzFit(f *testing.F) {
	f.Add("DRYER 1 51.0 °C. Cut the heat.", "+51 900 000 001")
	f.Add("乾燥機", "1")
	f.Fuzz(func(t *testing.T, body, phone string) {
		text := fit(body, "Reply 1 0412 = I am on it.")
		if !short(text) || !strings.HasSuffix(text, "Reply 1 0412 = I am on it.") || strings.ContainsAny(text, "\x00\x1a\x1b\r\n") {
			t.Errorf("fit(%q) = %q", body, text)
		}
		pdu, _, err := submit(phone, text)
		if err != nil {
			return
		}
		if got, err := texttest.ReadSubmit(pdu); err != nil || got.Text != strings.ToValidUTF8(text, "\ufffd") {
			t.Errorf("%q was read as %q, %v", text, got.Text, err)
		}
	})
}

// Whatever a modem says is cut into lines without ends, and the same however it comes in pieces.
func FuzzLines(f *testing.F) {
	f.Add([]byte("AT+CMGS=23\r\r\n> 0031\x1a\r\n+CMGS: 7\r\n\r\nOK\r\n"), 3)
	f.Add([]byte("\r\n+CDS: 25\r\n0006\r\n+CMS ERROR: 500\r\n"), 1)
	f.Fuzz(func(t *testing.T, data []byte, cut int) {
		lines := func(size int) (all []string) {
			var s splitter
			for rest := data; len(rest) > 0; {
				n := min(size, len(rest))
				s.feed(rest[:n], func(line string) {
					if line == "" || len(line) > lineMost || strings.ContainsAny(line, "\r\n") {
						t.Errorf("line %q", line)
					}
					all = append(all, line)
				})
				rest = rest[n:]
			}
			return all
		}
		whole, pieces := lines(len(data)), lines(max(1, cut))
		if strings.Join(whole, "\n") != strings.Join(pieces, "\n") {
			t.Errorf("%q\n%q", whole, pieces)
		}
		m := &modem{}
		for _, line := range whole {
			_, _ = result(line)
			_ = number(fields(line), 0)
			m.notice(line)
		}
	})
}
