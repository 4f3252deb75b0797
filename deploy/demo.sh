#!/bin/sh
# Builds the page and the program and opens the demo: an invented estate on simulated chips and buses, everything embedded, on this machine alone.
# Use: sh deploy/demo.sh [--speed N]      Needs Go 1.26 or newer and Node 20 or newer.
set -eu
cd "$(dirname "$0")/.."

say() { printf '%s\n' "$*"; }
stop() { printf 'demo: %s\n' "$*" >&2; exit 1; }

command -v go >/dev/null 2>&1 || stop "Go is missing. Install Go 1.26 or newer, open a new shell and start this again."
command -v npm >/dev/null 2>&1 || stop "Node with npm is missing. Install Node 20 or newer (on Debian: apt install nodejs npm) and start this again."

# The release of Go that go.mod names mends known weaknesses of the standard library; an older one fetches it by itself.
GOTOOLCHAIN=$(sed -n 's/^toolchain //p' go.mod)
export GOTOOLCHAIN

say "1/3 building the page (about half a minute the first time)"
(cd gateway/web/ui && npm ci --no-audit --no-fund --loglevel=error && npm run --silent build) ||
	stop "the page could not be built. The lines above say why; most often the npm registry is out of reach."

say "2/3 building the program (one to two minutes the first time)"
CGO_ENABLED=0 go build -trimpath -o millwarden ./gateway ||
	stop "the program could not be built. The lines above say why; most often the Go module proxy is out of reach or the disk is full."

say "3/3 starting the demo; Ctrl-C ends it"
exec ./millwarden demo "$@"
