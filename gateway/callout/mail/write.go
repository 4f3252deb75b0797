package mail

import (
	"bytes"
	"mime"
	"mime/quotedprintable"
	"net/mail"
	"strings"
	"time"

	"millwarden/gateway/callout"
)

// write composes the mail [RFC 5322, RFC 2045]. Header fields are written by header alone, which lets no line break through.
func (m *Mail) write(msg *callout.Message) []byte {
	var b bytes.Buffer
	header := func(name, value string) {
		b.WriteString(name + ":" + fold(oneLine(value)) + "\r\n")
	}
	header("From", m.sender.String())
	header("To", (&mail.Address{Name: oneLine(msg.To.Title), Address: msg.To.Mail}).String())
	header("Subject", subject(msg.Subject))
	if now := m.o.Clock.Now(); now.Set { // a wrong date is worse than none: the server adds its own [RFC 6409 section 8.1]
		header("Date", now.Wall.In(m.o.Zone).Format(time.RFC1123Z))
	}
	domain := m.sender.Address[strings.LastIndexByte(m.sender.Address, '@')+1:]
	header("Message-ID", "<"+msg.ID+"@"+domain+">")
	if msg.Thread != "" { // one thread for each occurrence
		root := "<occurrence." + msg.Thread + "@" + domain + ">"
		header("In-Reply-To", root)
		header("References", root)
	}
	header("Auto-Submitted", "auto-generated") // [RFC 3834 section 5]
	if msg.Urgent() {
		header("Importance", "high") // [RFC 4021 section 2.1.54]
	}
	header("MIME-Version", "1.0")
	header("Content-Type", "text/plain; charset=utf-8")
	header("Content-Transfer-Encoding", "quoted-printable")
	b.WriteString("\r\n")
	q := quotedprintable.NewWriter(&b)
	_, _ = q.Write([]byte(strings.ReplaceAll(strings.ReplaceAll(msg.Body, "\r\n", "\n"), "\n", "\r\n"))) // a buffer takes everything
	_ = q.Close()
	return b.Bytes()
}

// oneLine makes spaces of all control characters: a title with a line break must not begin a header of its own.
func oneLine(text string) string {
	return strings.Map(func(c rune) rune {
		if c < ' ' || c == 0x7f {
			return ' '
		}
		return c
	}, text)
}

// subject encodes what is not ASCII [RFC 2047].
func subject(text string) string {
	text = oneLine(text)
	const most = 200 // chosen: below the 998 of RFC 5322 section 2.1.1, and no subject of ours is longer
	if len(text) > most {
		text = strings.ToValidUTF8(text[:most], "")
	}
	return mime.QEncoding.Encode("utf-8", text)
}

// fold gives each encoded word a line of its own: a line that holds one has no more than 76 characters [RFC 2047 section 2].
func fold(value string) string {
	if !strings.HasPrefix(value, "=?") {
		return " " + value
	}
	return "\r\n " + strings.NewReplacer("?= =?", "?=\r\n =?", "?= <", "?=\r\n <").Replace(value)
}
