package command

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"millwarden/internal/certificate"
)

const (
	rootFile   = "site-root.pem" // with its key
	anchorFile = "site-root.crt" // what people and probes install
	pageFile   = "page.pem"
)

// makeCertificates makes a root for the site, once, and issues certificates by it. Run again it renews: the root stays, so that nobody has to install anything.
func makeCertificates(_ context.Context, std IO, args []string) error {
	f := flags("certificate", std)
	out := f.String("out", ".", "folder of the root and of what it issues")
	site := f.String("site", "the mill", "name of the site, as people see it among the roots of their phone")
	client := f.String("client", "", "a client of the broker, in place of the page: name of a radio probe, or the board's user")
	names, err := parse(f, args)
	switch {
	case err != nil:
		return err
	case (len(names) == 0) == (*client == ""):
		return fmt.Errorf("%w: give the names and addresses by which the page is asked for, for example mill.estate.example 192.168.10.2; or --client with one name", errUse)
	case *client != "" && !plainName(*client):
		return fmt.Errorf("%w: %q is no name of a client: letters, digits, hyphens", errUse, *client)
	}
	root, isNew, err := siteRoot(*out, *site, names)
	if err != nil {
		return err
	}
	if *client != "" {
		return issueClient(std, root, *out, *client)
	}
	text, err := root.Server(names, time.Now())
	if errors.Is(err, certificate.ErrNotCovered) {
		return fmt.Errorf("%w. For other names a new root is needed, which everybody then installs: take %s away and run this again", err, filepath.Join(*out, rootFile))
	}
	if err != nil {
		return err
	}
	file := filepath.Join(*out, pageFile)
	if err := writeWhole(file, text, 0o600); err != nil {
		return err
	}
	if isNew {
		fmt.Fprintf(std.Out, "%s  the site's root with its key: keep it on a stick in a drawer, not on the board; whoever has it can pretend to be this page\n", filepath.Join(*out, rootFile))
	}
	fmt.Fprintf(std.Out, "%s  the root alone: phones install it, the page helps at /trust\n%s  certificate and key of the page; in the rules file:\n\n", filepath.Join(*out, anchorFile), file)
	fmt.Fprintf(std.Out, "    page\n        certificate   %s\n\nThe root's fingerprint (SHA-256), to be compared on each phone before it is trusted:\n%s\n", file, certificate.Fingerprint(root.Certificate))
	fmt.Fprintln(std.Out, "It counts for 397 days. Run this again before; the gateway takes the new file by itself.")
	return nil
}

func issueClient(std IO, root *certificate.Root, out, name string) error {
	text, err := root.Client(name, time.Now())
	if err != nil {
		return err
	}
	file := filepath.Join(out, "client-"+name+".pem")
	if err := writeWhole(file, text, 0o600); err != nil {
		return err
	}
	fmt.Fprintf(std.Out, "%s  certificate and key for %s; for 397 days. The broker takes it where its block says: ca %s\n", file, name, filepath.Join(out, anchorFile))
	return nil
}

func plainName(name string) bool {
	return strings.Trim(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-") == ""
}

// siteRoot reads the root in a folder, or makes one.
func siteRoot(folder, site string, names []string) (root *certificate.Root, isNew bool, err error) {
	path := filepath.Join(folder, rootFile)
	text, err := os.ReadFile(path)
	if err == nil {
		root, err = certificate.ReadRoot(text)
		return root, false, err
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return nil, false, fmt.Errorf("the root: %w", err)
	}
	if root, err = certificate.NewRoot(site, names, time.Now()); err != nil {
		return nil, false, err
	}
	if text, err = root.PEM(); err != nil {
		return nil, false, err
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, false, fmt.Errorf("folder of the certificates: %w", err)
	}
	if err := writeWhole(path, text, 0o600); err != nil {
		return nil, false, err
	}
	return root, true, writeWhole(filepath.Join(folder, anchorFile), certificate.PEM(root.Certificate), 0o644)
}

// writeWhole writes a file under another name first, so that who reads it finds the old one or the new one.
func writeWhole(path string, text []byte, mode fs.FileMode) error {
	part, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".part-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer os.Remove(part.Name()) //nolint:errcheck // it has its name by then, or was told
	_, err = part.Write(text)
	err = errors.Join(err, part.Chmod(mode), part.Sync(), part.Close())
	if err == nil {
		err = os.Rename(part.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}
