// Package peers starts the servers we did not write, for tests: mosquitto (broker), nats-server (three nodes that are
// one broker), influxd 1.8.10 and victoria-metrics (stores), each on a
// free loopback port with a folder of its own, ready when the function returns, killed when the test ends. A server that is not installed
// skips the test, or fails it where CI=true. Tests alone may import it.
//
// Concurrency: a Server is used by one test goroutine at a time.
package peers

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// startLimit is how long a server may take until it answers; chosen: ten times the slowest seen on a busy machine.
const startLimit = 60 * time.Second

// Server is a running server.
type Server struct {
	t       testing.TB
	name    string
	program string
	args    []string
	env     []string // beside that of the test
	ready   func() error
	log     string
	command *exec.Cmd
	done    chan struct{}
}

// find looks for a program: the environment variable MILLWARDEN_NAME, the search path, the folder of `go install`.
func find(t testing.TB, name string) string {
	t.Helper()
	if path := os.Getenv("MILLWARDEN_" + strings.ToUpper(strings.ReplaceAll(name, "-", "_"))); path != "" {
		return path
	}
	for _, candidate := range []string{name, "/usr/sbin/" + name, filepath.Join(goBin(), name)} {
		if path, err := exec.LookPath(candidate); err == nil {
			return path
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is not installed: run deploy/test.sh, which installs it", name)
	}
	t.Skipf("%s is not installed: run deploy/test.sh, which installs it", name)
	return ""
}

func goBin() string {
	if bin := os.Getenv("GOBIN"); bin != "" {
		return bin
	}
	if path := os.Getenv("GOPATH"); path != "" {
		return filepath.Join(path, "bin")
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return ""
	}
	return filepath.Join(home, "go", "bin")
}

// The ports that FreeAddress gives lie below those that the kernel gives out by itself, from 32768 on [Linux, ip-sysctl: ip_local_port_range]: else one might go to the
// listener or the connection of another test before its server has begun to listen, or while it is down.
const (
	firstPort = 20000
	manyPorts = 12000
)

var given sync.Map // ports that FreeAddress has given

// FreeAddress is a loopback address that nobody listens on at present, and that nobody in this process was given before.
func FreeAddress(t testing.TB) string {
	t.Helper()
	for range manyPorts {
		port := firstPort + rand.IntN(manyPorts)
		address := fmt.Sprint("127.0.0.1:", port)
		l, err := net.Listen("tcp", address)
		if err != nil {
			continue
		}
		_ = l.Close() // only its address was wanted
		if _, before := given.LoadOrStore(port, true); !before {
			return address
		}
	}
	t.Fatal("every port that was tried is taken")
	return ""
}

func start(t testing.TB, name, folder string, ready func() error, program string, args ...string) *Server {
	t.Helper()
	return startIn(t, nil, name, folder, ready, program, args...)
}

// startIn is start with more of an environment.
func startIn(t testing.TB, env []string, name, folder string, ready func() error, program string, args ...string) *Server {
	t.Helper()
	s := &Server{t: t, name: name, program: program, args: args, env: env, ready: ready, log: filepath.Join(folder, name+".log")}
	s.Start()
	t.Cleanup(s.Kill)
	return s
}

// Start starts the server again after Kill or Stop, at the same address with the same data, and waits until it answers.
func (s *Server) Start() {
	s.t.Helper()
	log, err := os.OpenFile(s.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		s.t.Fatal(err)
	}
	defer log.Close() //nolint:errcheck // the server writes to its own copy
	command := exec.Command(s.program, s.args...)
	command.Stdout, command.Stderr = log, log
	command.Env = append(os.Environ(), s.env...)
	dieWithParent(command)
	if err := command.Start(); err != nil {
		s.t.Fatalf("%s: %v", s.name, err)
	}
	done := make(chan struct{})
	go func() {
		command.Wait() //nolint:errcheck // killed on purpose
		close(done)
	}()
	s.command, s.done = command, done
	s.await()
}

func (s *Server) await() {
	s.t.Helper()
	deadline := time.Now().Add(startLimit)
	for {
		err := s.ready()
		if err == nil {
			return
		}
		ended := false
		select {
		case <-s.done:
			ended = true
		case <-time.After(20 * time.Millisecond):
		}
		if ended || time.Now().After(deadline) {
			text, _ := os.ReadFile(s.log)
			s.t.Fatalf("%s does not answer: %v\n%s", s.name, err, text)
		}
	}
}

// Kill ends the server at once, as kill -9 does.
func (s *Server) Kill() { s.end(syscall.SIGKILL) }

// Stop ends the server in order.
func (s *Server) Stop() { s.end(syscall.SIGTERM) }

func (s *Server) end(signal os.Signal) {
	if s.command == nil {
		return
	}
	if err := s.command.Process.Signal(signal); err != nil && !errors.Is(err, os.ErrProcessDone) {
		s.t.Errorf("%s: %v", s.name, err)
	}
	select {
	case <-s.done:
	case <-time.After(startLimit):
		s.t.Errorf("%s did not end within %v", s.name, startLimit)
	}
	s.command = nil
}

// Processor is the processor time the server has used so far, from the kernel.
func (s *Server) Processor() time.Duration {
	s.t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", s.command.Process.Pid))
	if err != nil {
		s.t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), ") ") // behind the name
	fields := strings.Fields(rest)
	var ticks int64
	for _, f := range fields[11:13] { // utime and stime, proc(5)
		n, err := strconv.ParseInt(f, 10, 64)
		if err != nil {
			s.t.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond // Linux has 100 a second
}

// Log is what the server wrote.
func (s *Server) Log() string {
	text, err := os.ReadFile(s.log)
	if err != nil {
		return err.Error()
	}
	return string(text)
}

func answers(url string) func() error {
	client := &http.Client{Timeout: 2 * time.Second}
	return func() error {
		resp, err := client.Get(url)
		if err != nil {
			return err
		}
		defer resp.Body.Close() //nolint:errcheck // only the status was wanted
		if resp.StatusCode >= 400 {
			return fmt.Errorf("%s: %s", url, resp.Status)
		}
		return nil
	}
}

func listens(address string) func() error {
	return func() error {
		c, err := net.DialTimeout("tcp", address, 2*time.Second)
		if err != nil {
			return err
		}
		return c.Close()
	}
}
