#!/bin/sh
# Builds the program for the boards and the Debian packages into OUT, and holds them to what they promise.
#   sh deploy/package.sh [OUT]              builds for arm64, armv7, armv6, amd64; checks; OUT is dist/ unless given
#   sh deploy/package.sh --try OUT          then installs, runs, upgrades and removes the amd64 package in a fresh Debian 12 below a folder of its own; needs root
# Needs Go, and for all checks: apt-get install lintian systemd debootstrap curl. A check whose tool is missing fails, unless SKIP names it: SKIP="lintian try".
#   sh deploy/package.sh --support          only prints until when what would be built is supported
# SIGNING_KEY=FILE makes it a release: signs the checksums with that key of OpenSSH, see deploy/sign.sh, and is supported for two years, or until a later SUPPORT_END=2028-12-31.
# BOARDS="amd64" builds for some alone. The page must be built before: (cd gateway/web/ui && npm ci && npm run build).
set -eu
cd "$(dirname "$0")/.."

NFPM=v2.45.2
CYCLONEDX=v1.9.0

say() { printf '\n== %s\n' "$*"; }
stop() { printf 'package: %s\n' "$*" >&2; exit 1; }
skip() { case " ${SKIP:-} " in *" $1 "*) printf 'left out as asked: %s\n' "$1"; return 0 ;; esac; return 1; }

try=""
if [ "${1:-}" = --try ]; then
	try=yes
	shift
fi
support=""
if [ "${1:-}" = --support ]; then
	support=yes
	shift
fi
out=${1:-dist}
case $out in /*) ;; *) out=$PWD/$out ;; esac
VERSION=${VERSION:-0.1.0}
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || echo 1767225600)}
least=$(date -u -d "$(date -u -d "@$SOURCE_DATE_EPOCH" +%F) + 2 years" +%F)
if [ -n "${SIGNING_KEY:-}" ]; then
	SUPPORT_END=$(date -u -d "${SUPPORT_END:-$least}" +%F) || stop "SUPPORT_END is no date: write 2028-12-31"
	[ "$(date -u -d "$SUPPORT_END" +%s)" -ge "$(date -u -d "$least" +%s)" ] || stop "SECURITY.md promises two years of support: SUPPORT_END is $least or later"
else
	SUPPORT_END="no release: not supported"
fi
[ -z "$support" ] || { echo "$SUPPORT_END"; exit 0; }
GOTOOLCHAIN=$(sed -n 's/^toolchain //p' go.mod)
export VERSION SOURCE_DATE_EPOCH GOTOOLCHAIN
PATH="${XDG_CACHE_HOME:-$HOME/.cache}/millwarden-tools:$PATH:/usr/sbin"
tools="${XDG_CACHE_HOME:-$HOME/.cache}/millwarden-tools"
mkdir -p "$tools" "$out"
[ -e gateway/web/dist/index.html ] || stop "the page is not built: (cd gateway/web/ui && npm ci && npm run build)"

tool() { # module path, version: installed once under a name with its version
	name=$(basename "$1")
	if [ ! -x "$tools/$name-$2" ]; then
		GOBIN="$tools" go install "$1@$2" || stop "could not build $1@$2"
		mv "$tools/$name" "$tools/$name-$2"
	fi
	ln -sf "$name-$2" "$tools/$name"
}

say "tools"
tool github.com/goreleaser/nfpm/v2/cmd/nfpm "$NFPM"
tool github.com/CycloneDX/cyclonedx-gomod/cmd/cyclonedx-gomod "$CYCLONEDX"

compile() { # GOARCH GOARM into
	CGO_ENABLED=0 GOOS=linux GOARCH=$1 GOARM=$2 go build -trimpath -buildvcs=false -ldflags "-s -w -buildid= -X millwarden/gateway/command.Version=$VERSION -X 'millwarden/gateway/command.SupportEnd=$SUPPORT_END'" -o "$3" ./gateway
}

papers() { # into a folder: man pages, completion, changelog, all from the program's own help
	"$native" help | sed -n 's/^  millwarden //p' | awk '{print $1}' >"$1/commands"
	{
		printf '.TH MILLWARDEN 1 "%s" "Millwarden %s" "User commands"\n' "$(date -u -d "@$SOURCE_DATE_EPOCH" +%Y-%m-%d)" "$VERSION"
		printf '.SH NAME\nmillwarden \\- watch over a coffee mill\n.SH SYNOPSIS\n.B millwarden\n.I COMMAND\n[options]\n.SH DESCRIPTION\n'
		printf 'Millwarden watches a coffee mill. It is a monitoring aid: no safety function, fire alarm, burner control or gas detector.\n.SH COMMANDS\n.nf\n'
		"$native" help | sed -n 's/^  millwarden //p' | sed -e 's/\\/\\\\/g' -e 's/-/\\-/g' -e "s/^\\(['.]\\)/\\\\\\&\\1/"
		printf '.fi\n.PP\n.B millwarden\n.I COMMAND\n.B \\-\\-help\nsays more about one.\n.SH FILES\n.TP\n.I /etc/millwarden/site.rules\nthe rules file\n.TP\n.I /var/lib/millwarden\nhistory and logbook\n'
		printf '.SH SEE ALSO\n.BR millwarden.rules (5)\n'
	} | gzip -9n >"$1/millwarden.1.gz"
	gzip -9nc deploy/debian/millwarden.rules.5 >"$1/millwarden.rules.5.gz"
	{
		printf '# completion of millwarden for bash, from its own list of commands\n_millwarden() {\n\tlocal word=${COMP_WORDS[COMP_CWORD]}\n\tif [ "$COMP_CWORD" = 1 ]; then\n'
		printf '\t\tmapfile -t COMPREPLY < <(compgen -W "%s" -- "$word")\n\telse\n\t\tmapfile -t COMPREPLY < <(compgen -f -- "$word")\n\tfi\n}\ncomplete -F _millwarden millwarden\n' "$(tr '\n' ' ' <"$1/commands" | sed 's/ $//')"
	} >"$1/millwarden.bash"
	printf 'millwarden (%s-1) unstable; urgency=medium\n\n  * Built from the source of that day.\n\n -- Millwarden <mill@millwarden.example>  %s\n' "$VERSION" "$(date -u -R -d "@$SOURCE_DATE_EPOCH")" | gzip -9n >"$1/changelog.Debian.gz"
}

sbom() { # binary into: what is in it, without a time or a random number
	cyclonedx-gomod bin -json -noserial -version "v$VERSION" -output "$2.raw" "$1" 2>/dev/null || stop "no list of parts of $1"
	grep -v '"timestamp":' "$2.raw" >"$2"
	rm "$2.raw"
}

build() { # into a folder: everything once
	mkdir -p "$1"
	compile amd64 "" "$1/native"
	native=$1/native
	for board in "arm64 - arm64" "arm 7 armv7" "arm 6 armv6" "amd64 - amd64"; do
		case " ${BOARDS:-arm64 armv7 armv6 amd64} " in *" ${board##* } "*) ;; *) continue ;; esac
		# shellcheck disable=SC2086 # three words are meant
		set -- "$1" $board
		BUILD=$1/$4
		export BUILD
		mkdir -p "$BUILD"
		compile "$2" "$(echo "$3" | tr -d -)" "$BUILD/millwarden"
		papers "$BUILD"
		sbom "$BUILD/millwarden" "$BUILD/sbom.cdx.json"
		case $4 in armv7 | armv6) DEB_ARCH=armhf ;; *) DEB_ARCH=$4 ;; esac
		export DEB_ARCH
		suffix=$4
		nfpm package --config deploy/debian/nfpm.yaml --packager deb --target "$1/millwarden_${VERSION}-1_$suffix.deb" >"$1/nfpm.log" 2>&1 || { cat "$1/nfpm.log"; stop "no package for $4"; }; rm "$1/nfpm.log"
		cp "$BUILD/millwarden" "$1/millwarden-$VERSION-linux-$4"
		cp "$BUILD/sbom.cdx.json" "$1/millwarden-$VERSION-linux-$4.cdx.json"
		rm -r "$BUILD"
	done
	rm "$native"
}

say "building twice"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
build "$work/one"
build "$work/two"
diff -rq "$work/one" "$work/two" || stop "two builds of one source differ"
echo "two builds of one source are the same to the byte"
rm -f "$out"/millwarden[-_]"$VERSION"*
cp "$work/one"/* "$out"/
(cd "$out" && sha256sum millwarden* >SHA256SUMS && sha256sum --quiet -c SHA256SUMS)
rm -f "$out/SHA256SUMS.sig"
if [ -n "${SIGNING_KEY:-}" ]; then
	sh deploy/sign.sh sign "$out" "$SIGNING_KEY"
	[ -z "${SIGNERS:-}" ] || sh deploy/sign.sh check "$out" "$SIGNERS"
else
	echo "NOTICE: not signed; for a release give SIGNING_KEY, and SIGNERS to check it"
fi
(cd "$out" && ls -l millwarden-"$VERSION"-linux-* millwarden_"$VERSION"* | awk '{print $5, $9}')
size=$(stat -c %s "$out/millwarden-$VERSION-linux-arm64" 2>/dev/null || echo 0)
[ "$size" -le $((18 * 1000 * 1000)) ] || echo "NOTICE: the arm64 program has $size bytes, the goal is 18 MB"

say "service unit"
skip systemd || {
	command -v systemd-analyze >/dev/null || stop "systemd-analyze is missing: apt-get install systemd, or SKIP=systemd"
	sed "s#/usr/bin/millwarden#$out/millwarden-$VERSION-linux-amd64#" deploy/debian/millwarden.service >"$work/millwarden.service"
	systemd-analyze verify --man=no "$work/millwarden.service" || stop "the unit does not verify"
	systemd-analyze security --offline=true --threshold=20 "$work/millwarden.service" >"$work/exposed" || stop "the unit is exposed beyond 2.0: $(tail -1 "$work/exposed")"
	tail -1 "$work/exposed"
}

say "rules file and packages"
"$out/millwarden-$VERSION-linux-amd64" check deploy/debian/site.rules || stop "the example site does not check, or amd64 was not built"
skip lintian || {
	command -v lintian >/dev/null || stop "lintian is missing: apt-get install lintian, or SKIP=lintian"
	lintian --allow-root --fail-on error,warning "$out/millwarden_${VERSION}-1_"*64.deb || stop "lintian has something to say"
	echo "lintian has nothing to say beyond deploy/debian/lintian-overrides"
}
[ -z "$try" ] || sh deploy/debian/try.sh "$out" "$VERSION"
