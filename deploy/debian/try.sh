#!/bin/sh
# Installs, runs, upgrades and removes the amd64 package in a fresh Debian 12. Use: sh deploy/debian/try.sh OUT VERSION      root; called by deploy/package.sh --try
# A thermometer of python3-pymodbus stands in for one on a panel: from the package to its first reading is timed. Needs also: apt-get install curl python3-pymodbus.
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
pid="" solid="" group=""
end() {
	[ -z "$pid" ] || kill "$pid" 2>/dev/null || true
	[ -z "$solid" ] || umount -R "$solid" || true
	[ -z "$group" ] || rmdir "$group" 2>/dev/null || true
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

ask() { nsenter --net --target "$pid" curl -fsL "$@"; }
there() { nsenter --net --target "$pid" chroot "$at" /usr/bin/env PATH=/usr/bin:/bin "$@"; }

at=$root
start() { # words of a command, in the root $at and the memory group $group
	# In a network of its own, so that nothing else on this machine answers in its place. Not by inside: a function in the background is a shell, and the signal would end that alone.
	unshare --net sh -c '[ -z "$0" ] || echo $$ >"$0/cgroup.procs"; ip link set lo up && exec "$@"' "$group" \
		chroot "$at" /usr/bin/env PATH=/usr/sbin:/usr/bin:/sbin:/bin setpriv --reuid=millwarden --regid=millwarden --init-groups "$@" >"$root.run" 2>&1 &
	pid=$!
	for _ in $(seq 300); do
		ask -o "$root.health" http://127.0.0.1:8420/health && return
		sleep 0.2
	done
	cat "$root.run"
	stop "the page does not answer"
}
finish() {
	kill "$pid"
	wait "$pid" || stop "the program did not end well"
	pid=""
}
start millwarden run
ask http://127.0.0.1:8420/ | grep -qi '<title>' || stop "there is no page"
echo "from package to a page that answers: $(($(date +%s) - begun)) s"

mkfifo "$root.hold"
exec 9<>"$root.hold" # the panel ends with its input
nsenter --net --target "$pid" /usr/bin/python3 drivers/modbus/testdata/server.py 1502 <"$root.hold" >"$root.panel" 2>&1 &
for _ in $(seq 150); do grep -q ready "$root.panel" && break; sleep 0.2; done
printf 'probe tank-1-thermometer\n    part modbus on tcp 127.0.0.1:1502 unit 7\n    register input 0 as int16 x 0.1 °C is mass\n    gives temperature at tank-1 as mass\n    every 1 s\n' >"$root/tmp/block"
there millwarden probe add --rules /etc/millwarden/site.rules --block /tmp/block
for _ in $(seq 150); do there millwarden readings tank-1/temperature >"$root.reading" 2>/dev/null && grep -q '21.5' "$root.reading" && break; sleep 0.2; done
grep '21.5' "$root.reading" || { cat "$root.reading"; stop "the probe is not read"; }
echo "from package to the first reading of a probe: $(($(date +%s) - begun)) s, nothing typed"
exec 9>&-
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
start millwarden run
finish
[ -s "$root/var/lib/millwarden/logbook.db" ] || stop "the logbook is gone after the upgrade"

say "a root that is read-only, and the memory that the unit allows"
memory=$(sed -n 's/^MemoryMax=//p' deploy/debian/millwarden.service)
if [ -e /sys/fs/cgroup/memory/memory.limit_in_bytes ]; then
	group=/sys/fs/cgroup/memory/millwarden-try-$$ limit=memory.limit_in_bytes
else
	group=/sys/fs/cgroup/millwarden-try-$$ limit=memory.max
fi
mkdir "$group" && echo "$memory" >"$group/$limit" || stop "memory cannot be limited here"
solid=$(mktemp -d)
mount --bind "$root" "$solid"
mount -o remount,bind,ro "$solid"
mount --bind "$root/var/lib/millwarden" "$solid/var/lib/millwarden"
mount -t tmpfs tmpfs "$solid/tmp"
at=$solid
! touch "$solid/etc/millwarden/new" 2>/dev/null || stop "the root can be written: nothing is shown"
start millwarden run
sleep 5
grep VmHWM "/proc/$pid/status"
finish
start millwarden demo --data /var/lib/millwarden/demo
sleep 60 # half an hour of the estate
ask http://127.0.0.1:8420/health >/dev/null || stop "the demo died within $memory"
grep -E 'VmHWM|VmRSS' "/proc/$pid/status"
echo "the demo, with everything embedded, in $memory: $(cat "$group"/memory.failcnt 2>/dev/null || grep '^max' "$group/memory.events") times at the limit"
finish
umount -R "$solid"
rmdir "$group"
solid="" group="" at=$root
rm -r "$root/var/lib/millwarden/demo"

say "remove and purge"
inside apt-get remove -y -qq millwarden >/dev/null 2>&1 || stop "removal failed"
[ -e "$root/etc/millwarden/site.rules" ] || stop "removal took the rules file"
[ ! -e "$root/usr/bin/millwarden" ] || stop "removal left the program"
inside apt-get purge -y -qq millwarden >/dev/null 2>&1 || stop "purge failed"
[ ! -e "$root/etc/millwarden/site.rules" ] || stop "purge left the rules file"
[ -s "$root/var/lib/millwarden/logbook.db" ] || stop "purge took the estate's record"
left=$(cd "$root" && find etc lib/systemd lib/udev usr -name '*millwarden*' ! -path '*/dpkg/*')
[ -z "$left" ] || stop "left behind: $left"
[ -n "${CHROOT:-}" ] || rm -rf --one-file-system "$root" "$root.log" "$root.run" "$root.health" "$root.hold" "$root.panel" "$root.reading"
echo "installed, run, upgraded, run on a read-only root, removed, purged; the estate's record stays in /var/lib/millwarden"
