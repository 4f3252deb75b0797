#!/bin/sh
# Asks govulncheck about everything the program calls, against the vulnerability list of the Go project at a pinned version.
# Use: sh deploy/vulnerable.sh VERSION-OF-THE-LIST
set -eu
cd "$(dirname "$0")/.."

folder=$(go mod download -json "golang.org/x/vulndb@$1" | sed -n 's/.*"Dir": "\(.*\)",*/\1/p')
[ -n "$folder" ] || { echo "vulnerable: the list golang.org/x/vulndb@$1 could not be had" >&2; exit 1; }

# A finding of the standard library is mended by the next Go release, which this project cannot make: it is allowed by name, with the date on
# which it was looked at. Anything else fails.
#   GO-2026-6617 net/http HTTP/2, in go1.26.8, mended in go1.26.9; looked at 2026-11-25
allowed="GO-2026-6617"

found=$(govulncheck -db "file://$folder/data/osv" -format json ./... |
	sed -n 's/.*"osv": "\(GO-[0-9-]*\)".*/\1/p' | sort -u)
called=$(govulncheck -db "file://$folder/data/osv" ./... 2>&1 || true)
for id in $found; do
	case " $allowed " in
	*" $id "*) continue ;;
	esac
	case "$called" in
	*"$id"*) printf '%s\n' "$called"; echo "vulnerable: $id is called" >&2; exit 1 ;;
	esac
done
echo "no known weakness is called, but for the allowed: $allowed"
