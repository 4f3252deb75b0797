package web

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
)

// Socket is where, in a data folder, the commands on the board reach the gateway. It lies in a folder for its owner alone: who gets there is the
// gateway's own user, or root, and may act in the name of any person of the rules file. It holds no secret, and reaches no network.
func Socket(data string) string { return filepath.Join(data, "command", "socket") }

// listenSocket opens it, in place of the one of a gateway that was killed: the lock of the data folder sees to it that no other runs.
func listenSocket(ctx context.Context, path string) (net.Listener, error) {
	folder := filepath.Dir(path)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, fmt.Errorf("web: folder of the commands: %w", err)
	}
	if err := os.Chmod(folder, 0o700); err != nil { //nolint:gosec // a folder is entered by its owner alone
		return nil, fmt.Errorf("web: folder of the commands: %w", err)
	}
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("web: socket of the commands: %w", err)
	}
	l, err := new(net.ListenConfig).Listen(ctx, "unix", path)
	if err != nil {
		return nil, fmt.Errorf("web: socket of the commands: %w", err)
	}
	return l, nil
}

type socketKey struct{}

// bySocket tells whether a request came by it.
func bySocket(r *http.Request) bool { return r.Context().Value(socketKey{}) != nil }

// serveSocket serves the commands until ctx ends. The page does not hang on it: what is wrong is told, and the page goes on.
func (w *Web) serveSocket(ctx context.Context) {
	l, err := listenSocket(ctx, w.config.Socket)
	if err != nil {
		w.config.Log.Error("commands on this board do not reach the gateway", "cause", err)
		return
	}
	server := w.server(context.WithValue(ctx, socketKey{}, true))
	stop := context.AfterFunc(ctx, func() { _ = server.Close() })
	defer stop()
	if err := server.Serve(l); err != nil && ctx.Err() == nil {
		w.config.Log.Error("commands on this board do not reach the gateway", "cause", err)
	}
}
