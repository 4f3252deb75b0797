// Command millwarden is the gateway of a coffee mill: it reads probes, decides, calls people, publishes and shows. It controls nothing but siren,
// lamp and messages.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"millwarden/gateway/command"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(command.Main(ctx, os.Args[1:], command.IO{In: os.Stdin, Out: os.Stdout, Err: os.Stderr}))
}
