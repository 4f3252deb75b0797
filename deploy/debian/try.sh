#!/bin/sh
# Installs, runs, upgrades and removes the amd64 package in a fresh Debian 12. Use: sh deploy/debian/try.sh OUT VERSION      root; called by deploy/package.sh --try
# No service manager runs there, so the program is started by hand as its own user; that the unit starts it on a real board is not tried here.
set -eu
out=$1 version=$2
say() { printf '\n== %s\n' "$*"; }
stop() { printf 'try: %s\n' "$*" >&2; exit 1; }
[ "$(id -u)" = 0 ] || stop "needs root, for debootstrap and chroot"

root=${CHROOT:-}
if [ -z "$root" ]; then
	root=$(mktemp -d)
	chmod 755 "$root" # it is / for the program's own user, too
	say "a fresh Debian 12 in $root (half a minute)"
	debootstrap --variant=minbase bookworm "$root" >"$root.log" 2>&1 || stop "debootstrap failed: $root.log"
fi
inside() { chroot "$root" /usr/bin/env PATH=/usr/sbin:/usr/bin:/sbin:/bin DEBIAN_FRONTEND=noninteractive "$@"; }
pid=""
end() {
	[ -z "$pid" ] || kill "$pid" 2>/dev/null || true
}
trap end EXIT

say "install by apt"
begun=$(date +%s)
inside apt-get update -qq
cp "$out/millwarden_$version-1_amd64.deb" "$root/tmp/"
inside apt-get install -y -qq "/tmp/millwarden_$version-1_amd64.deb" >/dev/null 2>"$root/tmp/apt.log" || { cat "$root/tmp/apt.log"; stop "apt install failed"; }
inside id millwarden
inside millwarden version
inside millwarden check /etc/millwarden/site.rules
[ "$(inside stat -c '%U %a' /var/lib/millwarden)" = "millwarden 750" ] || stop "the data folder has the wrong owner"

start() {
	# not by inside: a function in the background is a shell, and the signal would end that alone
	chroot "$root" /usr/bin/env PATH=/usr/sbin:/usr/bin:/sbin:/bin setpriv --reuid=millwarden --regid=millwarden --init-groups millwarden run >"$root/tmp/run.log" 2>&1 &
	pid=$!
	for _ in $(seq 50); do
		curl -fs -o "$root/tmp/health" http://127.0.0.1:8420/health && return
		sleep 0.2
	done
	cat "$root/tmp/run.log"
	stop "the page does not answer"
}
finish() {
	kill "$pid"
	wait "$pid" || stop "the program did not end well"
	pid=""
}
start
curl -fs http://127.0.0.1:8420/ | grep -qi '<title>' || stop "there is no page"
inside millwarden readings | head -3
echo "from package to a page that answers: $(($(date +%s) - begun)) s"
finish

say "upgrade: a changed rules file stays"
echo "# mine" >>"$root/etc/millwarden/site.rules"
sum=$(sha256sum "$root/etc/millwarden/site.rules")
mkdir "$root/tmp/next"
inside dpkg-deb -R "/tmp/millwarden_$version-1_amd64.deb" /tmp/next/tree
sed -i "s/^Version: .*/Version: $version-2/" "$root/tmp/next/tree/DEBIAN/control"
echo "# of the next version" >>"$root/tmp/next/tree/etc/millwarden/site.rules"
inside dpkg-deb --root-owner-group -b /tmp/next/tree /tmp/next/next.deb >/dev/null
inside apt-get install -y -qq -o Dpkg::Options::=--force-confdef /tmp/next/next.deb >/dev/null 2>&1 || stop "the upgrade failed"
inside dpkg-query -W millwarden
[ "$sum" = "$(sha256sum "$root/etc/millwarden/site.rules")" ] || stop "the upgrade changed the rules file"
start
finish
[ -s "$root/var/lib/millwarden/logbook.db" ] || stop "the logbook is gone after the upgrade"

say "remove and purge"
inside apt-get remove -y -qq millwarden >/dev/null 2>&1 || stop "removal failed"
[ -e "$root/etc/millwarden/site.rules" ] || stop "removal took the rules file"
[ ! -e "$root/usr/bin/millwarden" ] || stop "removal left the program"
inside apt-get purge -y -qq millwarden >/dev/null 2>&1 || stop "purge failed"
[ ! -e "$root/etc/millwarden/site.rules" ] || stop "purge left the rules file"
[ -s "$root/var/lib/millwarden/logbook.db" ] || stop "purge took the estate's record"
left=$(cd "$root" && find etc lib/systemd lib/udev usr -name '*millwarden*' ! -path '*/dpkg/*')
[ -z "$left" ] || stop "left behind: $left"
echo "installed, run, upgraded, removed, purged; the estate's record stays in /var/lib/millwarden"
