package text

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"millwarden/gateway/callout/text/texttest"
)

// terminal is a pair of pseudo terminals: the modem's end, and the path of ours.
func terminal(t *testing.T) (*os.File, string) {
	t.Helper()
	fd, err := unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Skipf("no pseudo terminal: %v", err)
	}
	master := os.NewFile(uintptr(fd), "/dev/ptmx")
	t.Cleanup(func() { _ = master.Close() })
	number, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		t.Skipf("no pseudo terminal: %v", err)
	}
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		t.Skipf("no pseudo terminal: %v", err)
	}
	path := fmt.Sprintf("/dev/pts/%d", number)
	// Held open, so that the line does not end between two openings; and raw from the start.
	slave, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("no pseudo terminal: %v", err)
	}
	t.Cleanup(func() { _ = slave.Close() })
	settings, err := unix.IoctlGetTermios(int(slave.Fd()), unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	settings.Iflag, settings.Oflag, settings.Lflag = 0, 0, 0
	if err := unix.IoctlSetTermios(int(slave.Fd()), unix.TCSETS, settings); err != nil {
		t.Fatal(err)
	}
	return master, path
}

// The serial port as the gateway opens it, with the double behind a real terminal.
func TestPort(t *testing.T) {
	master, path := terminal(t)
	modem := texttest.New()
	var all sync.WaitGroup
	all.Go(func() { modem.Serve(master) })
	answered := make(chan Answer, 1)
	s, err := New(Options{Open: Port(path, 115200), Answer: func(_ context.Context, a Answer) error { answered <- a; return nil }})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	all.Go(func() { _ = s.Run(ctx) })
	if err := s.Send(ctx, message("m1")); err != nil {
		t.Error(err)
	}
	modem.Receive("+51900000001", "1 0412")
	select {
	case a := <-answered:
		if a.Occurrence != 412 {
			t.Errorf("answer %+v", a)
		}
	case <-time.After(time.Minute):
		t.Error("the answer did not come")
	}
	stop()
	modem.Vanish()
	all.Wait()
	if sent := modem.Sent(); len(sent) != 1 || sent[0].Text != written {
		t.Errorf("sent %+v", sent)
	}
}

// lacks ends a test for which a program is missing: with a message, or as a failure where all must be there.
func lacks(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") != "" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// smsd of the package smstools drives the double as it would drive a modem, and its message is that of the channel but for the request for a report,
// the class, and the validity. What somebody answers it reads from the double.
func TestDouble_smsd(t *testing.T) {
	smsd, err := exec.LookPath("smsd")
	if err != nil {
		lacks(t, "smsd (package smstools) is not installed")
	}
	master, path := terminal(t)
	modem := texttest.New()
	go modem.Serve(master)
	folder := t.TempDir()
	for _, name := range []string{"outgoing", "checked", "incoming", "failed", "sent"} {
		if err := os.Mkdir(filepath.Join(folder, name), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	settings := fmt.Sprintf("devices = M\nlogfile = %[1]s/log\nloglevel = 7\ninfofile = %[1]s/running\npidfile = %[1]s/pid\noutgoing = %[1]s/outgoing\nchecked = %[1]s/checked\n"+
		"incoming = %[1]s/incoming\nfailed = %[1]s/failed\nsent = %[1]s/sent\ndelaytime = 1\nerrorsleeptime = 1\n[M]\ndevice = %[2]s\nincoming = high\nbaudrate = 115200\nrtscts = no\n", folder, path)
	file := filepath.Join(folder, "smsd.conf")
	const text = "DRYER 1 air 51.0 C, limit 45.0 C. [Cut] the heat."
	for name, content := range map[string]string{file: settings, filepath.Join(folder, "outgoing", "one"): "To: 51900000001\n\n" + text} {
		if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	command := exec.CommandContext(ctx, smsd, "-c", file, "-t") // -t: it ends at once on a signal, and stays in front
	said := make(chan error, 1)
	go func() {
		output, err := command.CombinedOutput()
		said <- errors.Join(err, errors.New(string(output)))
	}()
	deadline := time.After(90 * time.Second)
	for len(modem.Sent()) == 0 {
		select {
		case err := <-said:
			t.Fatalf("smsd ended: %v", err)
		case <-deadline:
			log, _ := os.ReadFile(filepath.Join(folder, "log"))
			t.Fatalf("smsd sent nothing: %s", log)
		case <-time.After(50 * time.Millisecond):
		}
	}
	modem.Receive("+51900000001", "1 0412")
	for came := ""; !strings.Contains(came, "From: 51900000001") || !strings.HasSuffix(strings.TrimSpace(came), "1 0412"); {
		files, err := filepath.Glob(filepath.Join(folder, "incoming", "*"))
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			text, _ := os.ReadFile(file)
			came = string(text)
		}
		select {
		case <-deadline:
			log, _ := os.ReadFile(filepath.Join(folder, "log"))
			t.Fatalf("smsd took no answer in: %q\n%s", came, log)
		case <-time.After(50 * time.Millisecond):
		}
	}
	stop()
	sent := modem.Sent()[0]
	if sent.Text != text || sent.To != "+51900000001" {
		t.Errorf("smsd sent %+v", sent)
	}
	ours, _, err := submit("+51900000001", text)
	if err != nil {
		t.Fatal(err)
	}
	tail := func(pdu string) string { return pdu[strings.Index(pdu, "0B91")+len("0B91")+12:] } // behind the number
	if got, want := tail(ours)[6:], tail(strings.ToUpper(sent.PDU))[6:]; got != want {
		t.Errorf("length and text %s, smsd's %s", got, want)
	}
}

// gammu opens a modem more strictly than smsd, and sends and reads by other commands.
func TestDouble_gammu(t *testing.T) {
	gammu, err := exec.LookPath("gammu")
	if err != nil {
		lacks(t, "gammu is not installed")
	}
	master, path := terminal(t)
	modem := texttest.New()
	go modem.Serve(master)
	settings := filepath.Join(t.TempDir(), "gammurc")
	if err := os.WriteFile(settings, []byte("[gammu]\ndevice = "+path+"\nconnection = at115200\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	ask := func(words ...string) string {
		t.Helper()
		ctx, stop := context.WithTimeout(t.Context(), 90*time.Second)
		defer stop()
		said, err := exec.CommandContext(ctx, gammu, append([]string{"-c", settings}, words...)...).CombinedOutput()
		if err != nil {
			t.Fatalf("gammu %v: %v\n%s\nasked %v", words, err, said, modem.Commands())
		}
		return string(said)
	}
	const text = "DRYER 1 air 51.0 C, limit 45.0 C. [Cut] the heat."
	ask("sendsms", "TEXT", "+51900000001", "-text", text)
	if sent := modem.Sent(); len(sent) != 1 || sent[0].Text != text || sent[0].To != "+51900000001" {
		t.Errorf("gammu sent %+v", sent)
	}
	modem.Receive("+51900000001", "1 0412") // what somebody answers, as gammu reads it
	if said := ask("getallsms"); !strings.Contains(said, `"+51900000001"`) || !strings.Contains(said, "\n1 0412\n") {
		t.Errorf("gammu read %s\nasked %v", said, modem.Commands())
	}
}
