package command

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"golang.org/x/term"

	"millwarden/gateway/logbook"
	"millwarden/gateway/people"
	"millwarden/internal/reading"
	"millwarden/rules/check"
)

// peopleCommand says who can log in. It works on the data folder, whether a gateway runs or not, so it is for whoever may write there.
func peopleCommand(ctx context.Context, std IO, args []string) error {
	f := flags("people", std)
	data := f.String("data", defaultData, "the gateway's data folder")
	file := f.String("rules", "", "rules file: a NAME that it does not hold is refused; without it the gateway's own is not looked at")
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) != 0 && len(words) != 2 {
		return fmt.Errorf("%w: add, code, key or remove, and a NAME; or nothing, for the list", errUse)
	}
	if _, err := os.Stat(*data); err != nil {
		return fmt.Errorf("the data folder: %w", err)
	}
	book, err := people.Open(*data, people.Options{})
	if err != nil {
		return err
	}
	defer book.Close() //nolint:errcheck // each change was written whole
	if len(words) == 0 {
		return listPeople(std.Out, book)
	}
	p := peopleWork{book: book, std: std, name: words[1], data: *data}
	if *file != "" {
		if err := p.holdAgainst(*file); err != nil {
			return err
		}
	}
	switch words[0] {
	case "add":
		return p.add(ctx)
	case "code":
		return p.code()
	case "key":
		return p.key()
	case "remove":
		return p.remove()
	}
	return fmt.Errorf("%w: %q is none of add, code, key, remove", errUse, words[0])
}

// peopleWork is one change of one person's login.
type peopleWork struct {
	book       *people.Book
	std        IO
	name, data string
}

func (p *peopleWork) holdAgainst(file string) error {
	l, err := loadRules(file)
	if err != nil {
		return err
	}
	if l.plan == nil || !slices.ContainsFunc(l.plan.People, func(q check.Person) bool { return q.Name == p.name }) {
		return fmt.Errorf("%s has no person %s: write a block `person %s` with its rights", file, p.name, p.name)
	}
	return nil
}

// add sets a password, asked for at the terminal or read as the first line of the input.
func (p *peopleWork) add(ctx context.Context) error {
	password, err := p.ask()
	if err != nil {
		return err
	}
	if err := people.Weigh(password, p.name, "millwarden"); err != nil {
		return err
	}
	if err := p.book.Set(ctx, p.name, password); err != nil {
		return err
	}
	fmt.Fprintf(p.std.Out, "%s can log in. Sessions and passkeys that %s had are ended.\n", p.name, p.name)
	return p.note("set a password at the command line")
}

func (p *peopleWork) ask() (string, error) {
	if in, isFile := p.std.In.(*os.File); isFile && term.IsTerminal(int(in.Fd())) { //nolint:gosec // a descriptor is a small number
		fmt.Fprintf(p.std.Err, "Password for %s (8 characters or more; better a few words): ", p.name)
		first, err := term.ReadPassword(int(in.Fd())) //nolint:gosec // as above
		if err != nil {
			return "", fmt.Errorf("reading the password: %w", err)
		}
		fmt.Fprint(p.std.Err, "\nOnce more: ")
		second, err := term.ReadPassword(int(in.Fd())) //nolint:gosec // as above
		fmt.Fprintln(p.std.Err)
		if err == nil && string(first) != string(second) {
			err = errors.New("the two are not the same: nothing was changed")
		}
		return string(first), err
	}
	line, err := bufio.NewReader(io.LimitReader(p.std.In, 4096)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("reading the password: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}

func (p *peopleWork) code() error {
	code, until, err := p.book.GiveCode(p.name)
	if err != nil {
		return err
	}
	fmt.Fprintf(p.std.Out, "Code for %s: %s\nIt works once, until %s, at the page under /code. Give it to %s alone.\n", p.name, code, until.Format("2006-01-02 15:04"), p.name)
	return p.note("gave a code at the command line")
}

// key begins a session for a program that looks on, for example a scraper of the metrics.
func (p *peopleWork) key() error {
	key, err := p.book.Begin(p.name, people.ScreenLife)
	if err != nil {
		return err
	}
	fmt.Fprintln(p.std.Out, key)
	fmt.Fprintf(p.std.Err, "A program that sends `Authorization: Bearer KEY` has the rights of %s, for two years or until it is silent for 90 days. It is shown only now.\n", p.name)
	return p.note("made a key at the command line")
}

func (p *peopleWork) remove() error {
	found, err := p.book.Remove(p.name)
	if err != nil {
		return err
	}
	if !found {
		return fmt.Errorf("%s has no login; `millwarden people` lists who has", p.name)
	}
	fmt.Fprintf(p.std.Out, "%s can no longer log in, and is logged out everywhere.\n", p.name)
	return p.note("login taken away at the command line")
}

// note writes the change into the logbook.
func (p *peopleWork) note(what string) error {
	l, err := logbook.Open(p.data)
	if err != nil {
		return fmt.Errorf("done, but not in the logbook: %w", err)
	}
	_, err = l.Write(logbook.Entry{At: reading.Stamp{Wall: time.Now()}, Kind: logbook.Act, Place: "page", Who: p.name, Text: p.name + ": " + what})
	return errors.Join(err, l.Close())
}

func listPeople(out io.Writer, book *people.Book) error {
	list, err := book.List()
	if err != nil {
		return err
	}
	if len(list) == 0 {
		fmt.Fprintln(out, "nobody can log in")
		return nil
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, l := range list {
		says := "no password yet"
		if l.Password {
			says = "password since " + l.Changed.Format("2006-01-02")
		}
		if !l.Code.IsZero() {
			says += ", code until " + l.Code.Format("2006-01-02 15:04")
		}
		if l.Passkeys > 0 {
			says += fmt.Sprintf(", passkeys: %d", l.Passkeys)
		}
		fmt.Fprintf(w, "%s\t%s\tlogged in on %d devices\n", l.Name, says, l.Sessions)
	}
	return w.Flush()
}

// pageHere is the address of the page on this machine; "": it is served beyond it, and so not before somebody can log in.
func pageHere(p check.Page) string {
	host, port, err := net.SplitHostPort(p.Listen)
	if ip := net.ParseIP(host); err != nil || host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return ""
	}
	scheme := "http://"
	if p.Certificate != "" {
		scheme = "https://"
	}
	return scheme + net.JoinHostPort(host, port)
}

// tellFirst prints the code of the first start where the person who starts the program sees it.
func tellFirst(std IO, plan *check.Plan) func(string) {
	return func(code string) {
		if at := pageHere(plan.Page); at != "" {
			fmt.Fprintf(std.Err, "\nFirst start: nobody can log in yet. At %s/code an owner of the rules file sets a password with this code, once:\n\n    %s\n\n", at, code)
		} else {
			fmt.Fprintf(std.Err, "\nFirst start: nobody can log in yet, and until somebody can the page is not served at %s. On this board, with the name of an owner of the rules file:\n\n    millwarden people add NAME\n\n", plan.Page.Listen)
		}
		if !slices.ContainsFunc(plan.People, func(p check.Person) bool { return p.Rights == "owner" }) {
			fmt.Fprint(std.Err, "No person of the rules file is an owner yet. Write in the block of one: rights owner\n\n")
		}
	}
}
