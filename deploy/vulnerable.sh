#!/bin/sh
# Asks govulncheck about everything the program calls, against the vulnerability list of the Go project at a pinned version.
# Use: sh deploy/vulnerable.sh VERSION-OF-THE-LIST
set -eu
cd "$(dirname "$0")/.."

stop() {
	echo "vulnerable: $*" >&2
	exit 1
}

# What is allowed by name, each with the date on which it was looked at and what it means here. Anything else fails.
allowed=""

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
echo "no known weakness is called; allowed by name: ${allowed:-none}"
