package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"millwarden/drivers"
	"millwarden/drivers/bus"
	"millwarden/drivers/catalog"
	"millwarden/gateway/floor"
	"millwarden/internal/clock"
	"millwarden/internal/link"
	"millwarden/internal/notify"
	"millwarden/internal/phrase"
)

// Where a board keeps things unless told otherwise.
const (
	defaultRules       = "/etc/millwarden/site.rules"
	defaultData        = "/var/lib/millwarden"
	defaultCredentials = "/etc/millwarden/credentials"
)

func run(ctx context.Context, std IO, args []string) error {
	f := flags("run", std)
	file := f.String("rules", defaultRules, "the rules file")
	data := f.String("data", defaultData, "folder of history and logbook")
	credentials := f.String("credentials", credentialsFolder(), "folder of the credentials that the rules file names")
	trust := f.Bool("trust-clock", false, "the clock is kept right by other means than the kernel's synchronisation")
	noForward := f.Bool("no-forward", false, "the store is served by a forwarder elsewhere")
	oneWire := f.String("onewire", bus.OneWireRoot, "folder of the kernel's 1-Wire devices")
	if words, err := parse(f, args); err != nil {
		return err
	} else if len(words) > 0 {
		return fmt.Errorf("%w: %q is too much here", errUse, words[0])
	}
	l, err := loadRules(*file)
	if errors.Is(err, errNoRules) {
		return fmt.Errorf("%w. Name one with --rules FILE; `millwarden demo` needs none", err)
	}
	if err != nil {
		return err
	}
	l.hideNotes()
	if err := l.said.Print(std.Err, l.sources); err != nil {
		return err
	}
	if l.said.HasErrors() {
		return fmt.Errorf("%s has faults, see above: nothing was started", *file)
	}
	log := slog.New(slog.NewTextHandler(std.Err, nil))
	manager, err := notify.From(os.Getenv, os.Getpid())
	if err != nil {
		log.Warn("the service manager cannot be told how this program does", "cause", err)
	}
	mill, err := floor.Open(floor.Options{Plan: l.plan, Data: *data, Drivers: knownDrivers(), OpenBus: hostBuses(*oneWire), Credential: credentialFrom(*credentials),
		Clock:  func(boot uint32) clock.Clock { return &clock.System{Boot: boot, Trust: *trust} },
		BootID: kernelBoot(), Log: log, Version: Version, Built: link.Built(), Manager: manager, NoForward: *noForward, Warnings: l.warnings(), Rules: watch(*file, l.plan), FirstCode: tellFirst(std, l.plan)})
	if err != nil {
		return err
	}
	go floor.KeepSmall(ctx)
	go reloadOnHangup(ctx, mill)
	return closeAfter(mill, mill.Run(ctx))
}

// knownDrivers is the catalog by kind.
func knownDrivers() map[string]drivers.Driver {
	known := map[string]drivers.Driver{}
	for _, d := range catalog.All() {
		known[d.Kind] = d
	}
	return known
}

// hostBuses opens the buses of this board.
func hostBuses(oneWire string) floor.BusOpener {
	host := bus.NewHost(bus.Options{OneWire: oneWire})
	return func(_ context.Context, kind drivers.BusKind, name string, lines phrase.Lines) (drivers.Bus, io.Closer, error) {
		opened, err := host.Open(kind, name, lines)
		if err != nil {
			return drivers.Bus{}, nil, err
		}
		return opened.Bus, opened, nil
	}
}

// kernelBoot is the kernel's id of this boot [random(4), boot_id].
func kernelBoot() string {
	text, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(text))
}

// credentialsFolder is the service manager's, if it gives one [systemd.exec(5), LoadCredential].
func credentialsFolder() string {
	if folder := os.Getenv("CREDENTIALS_DIRECTORY"); folder != "" {
		return folder
	}
	return defaultCredentials
}

// credentialFrom reads credentials of a folder. A file that others may read is no secret.
func credentialFrom(folder string) func(string) (string, error) {
	return func(name string) (string, error) {
		path := filepath.Join(folder, filepath.Base(name))
		info, err := os.Stat(path)
		if err != nil {
			return "", fmt.Errorf("credential %s: %w", name, err)
		}
		if info.Mode().Perm()&0o077 != 0 {
			return "", fmt.Errorf("credential %s: others may read %s (mode %04o); run: chmod 600 %s", name, path, info.Mode().Perm(), path)
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return "", fmt.Errorf("credential %s: %w", name, err)
		}
		return strings.TrimRight(string(text), "\r\n"), nil
	}
}
