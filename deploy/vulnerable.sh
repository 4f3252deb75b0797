#!/bin/sh
# Asks govulncheck about everything the program calls, against the vulnerability list of the Go project at a pinned version.
# Use: sh deploy/vulnerable.sh VERSION-OF-THE-LIST
set -eu
cd "$(dirname "$0")/.."

stop() {
	echo "vulnerable: $*" >&2
	exit 1
}

# A finding of the standard library is mended by a Go release, not in this project: by the list, go1.26.10 mends all of these. Until it is used each is
# allowed by name, with what it means here. Anything else fails. Looked at 2026-11-25, with go1.26.8:
#   GO-2026-6599, 6600        html/template, script inside a template: our one template has no script
#   GO-2026-6603, 6611, 6612  net/http HTTP/2 server, memory and time: only who reaches the page by TLS, which is for the site's own network
#   GO-2026-6617              net/http HTTP/2 server, a crash: as before; the service manager starts it again and no alarm is lost
#   GO-2026-6605, 6613        net/http, CONNECT: sent with a body, or answered 2xx, by nothing here
#   GO-2026-6607              crypto/tls, encrypted hello: only servers that hold keys for it; ours holds none
#   GO-2026-6608              net/textproto, multipart forms: no form of ours is read as multipart
#   GO-2026-6610              net/http HTTP/2 client, headers handed on by a reverse proxy: there is none
#   GO-2026-6809              crypto/x509, intermediates no longer trusted: the board's own list of roots, kept by its updates, decides
allowed="GO-2026-6599 GO-2026-6600 GO-2026-6603 GO-2026-6605 GO-2026-6607 GO-2026-6608 GO-2026-6610 GO-2026-6611 GO-2026-6612 GO-2026-6613
	GO-2026-6617 GO-2026-6809"

folder=$(go mod download -json "golang.org/x/vulndb@$1" | sed -n 's/.*"Dir": "\(.*\)",*/\1/p')
[ -n "$folder" ] || stop "the list golang.org/x/vulndb@$1 could not be had"

# govulncheck ends with 0 if nothing known is called, with 3 if something is; anything else is no answer, for example where a package does not
# compile. Its text names under "Vulnerability #n" what is called, and only that.
status=0
report=$(govulncheck -db "file://$folder/data/osv" ./... 2>&1) || status=$?
case $status in
0 | 3) ;;
*) stop "govulncheck ended with $status: $report" ;;
esac
called=$(printf '%s\n' "$report" | sed -n 's/^Vulnerability #[0-9]*: \(GO-[0-9-]*\)$/\1/p')
[ $status -eq 0 ] || [ -n "$called" ] || stop "no name was found in the report: $report"
refused=
for id in $called; do
	case " $(echo $allowed) " in
	*" $id "*) ;;
	*) refused="$refused $id" ;;
	esac
done
[ -z "$refused" ] || stop "called, and not allowed:$refused
$(printf '%s\n' "$report" | grep -v '^      #')"
echo "no known weakness is called, but for $(echo $called | wc -w) allowed: $(echo ${called:-none})"
