#!/bin/sh
# Installs what the tests need and runs all of them. Use: sh deploy/test.sh      Debian 12 with Go and Node; root or sudo for apt.
# Versions are pinned: Go tools by version, npm packages by their lock files, Debian packages by the release (12, bookworm).
set -eu
cd "$(dirname "$0")/.."

INFLUXD=v1.8.10
NATS=v2.15.2
GOLANGCI=v2.15.0
GOVULNCHECK=v1.9.0
VULNDB=v0.0.0-20261105234957-e22db6528018

say() { printf '\n== %s\n' "$*"; }
stop() { printf 'test: %s\n' "$*" >&2; exit 1; }
command -v go >/dev/null 2>&1 || stop "Go is missing. Install Go 1.26 or newer and start this again."
command -v npm >/dev/null 2>&1 || stop "Node with npm is missing. Install Node 20 or newer and start this again."

# Without CI the tests skip what is missing, and say so; here everything is installed, so a missing server is a failure.
export CI=true
tools="${XDG_CACHE_HOME:-$HOME/.cache}/millwarden-tools"
mkdir -p "$tools"
PATH="$tools:$PATH:/usr/sbin"
export PATH

# The release of Go that go.mod names mends known weaknesses of the standard library; an older one fetches it by itself.
GOTOOLCHAIN=$(sed -n 's/^toolchain //p' go.mod)
export GOTOOLCHAIN

say "Debian packages"
missing=""
for p in argon2 curl openssl mosquitto mosquitto-clients victoria-metrics prometheus chromium poppler-utils python3-pymodbus python3-serial-asyncio libmodbus-dev mbpoll jq smstools gammu openssh-client gcc libc6-dev; do
	dpkg -s "$p" >/dev/null 2>&1 || missing="$missing $p"
done
# libmodbus' test server lies with its documentation, which slim systems leave out.
examples=/usr/share/doc/libmodbus-dev/examples
case " $missing " in *" libmodbus-dev "*) ;; *) [ -f "$examples/unit-test-server.c" ] || missing="$missing libmodbus-dev" ;; esac
if [ -n "$missing" ]; then
	as_root=""
	[ "$(id -u)" = 0 ] || as_root="sudo"
	$as_root apt-get update -qq || stop "apt-get update failed: is the machine online, and may you use sudo?"
	# shellcheck disable=SC2086 # the list is meant to be split
	$as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends --reinstall -o "DPkg::Options::=--path-include=$examples/*" $missing >/dev/null ||
		stop "could not install:$missing"
fi
# The package smstools starts a service of its own, which would take a modem of this machine; only its program is wanted.
case " $missing " in *" smstools "*) if command -v systemctl >/dev/null 2>&1; then $as_root systemctl disable --now smstools >/dev/null 2>&1 || true; fi ;; esac
dpkg-query -W -f '${Package} ${Version}\n' mosquitto victoria-metrics prometheus chromium python3-pymodbus

say "Go tools"
tool() { # module path, version: installed once under a name with its version
	name=$(basename "${1%/v[0-9]}")
	if [ ! -x "$tools/$name-$2" ]; then
		GOBIN="$tools" go install "$1@$2" || stop "could not build $1@$2"
		mv "$tools/$name" "$tools/$name-$2"
	fi
	ln -sf "$name-$2" "$tools/$name"
}
tool github.com/influxdata/influxdb/cmd/influxd "$INFLUXD"
tool github.com/nats-io/nats-server/v2 "$NATS"
tool github.com/golangci/golangci-lint/v2/cmd/golangci-lint "$GOLANGCI"
tool golang.org/x/vuln/cmd/govulncheck "$GOVULNCHECK"

say "npm packages and the page"
for folder in gateway/web/ui gateway/callout/mail/testdata gateway/callout/push/testdata; do
	(cd "$folder" && npm ci --no-audit --no-fund --loglevel=error) || stop "npm ci failed in $folder"
done
(cd gateway/web/ui && npm run --silent check && npm run --silent build) || stop "the page does not build"

say "format, vet, lint"
unformatted=$(gofmt -l gateway drivers rules internal)
[ -z "$unformatted" ] || stop "gofmt would change: $unformatted"
go vet ./...
golangci-lint run ./...

say "known weaknesses in what we use"
sh deploy/vulnerable.sh "$VULNDB"

say "tests, with the race detector"
go test -race -timeout 30m ./...

say "what the race detector does not bear, or makes too slow: nights on fake time (see bubble in gateway/floor), the page in a browser against the running program"
go test -count=1 -timeout 30m ./gateway/floor ./gateway/command
