#!/bin/sh
# The whole gateway on a real kernel with a real I2C bus, in emulation: a board of 256 MB with Debian's kernel for ARM, a temperature chip on /dev/i2c-0, which is set
# from outside and read back through driver, rules and alarm; and by the kernel's own driver through hwmon. Its root is read-only. Takes six minutes on an idle machine, twenty on a busy one.
#   sh deploy/kernel.sh [--clock] [PROGRAM]        PROGRAM is an armv7 build; without it one is built
# With --clock in its place: the board's clock begins in 1970, is set right 57 years on, goes an hour back, then ten years ahead (its busybox cannot set what 32 bits cannot count), and the gateway
# is started anew there. Each time the chip is made hot, the alarm must ring, and be over when it is cool; that the clock is unset must be told, and in the end each reading must lie at its own time. The control
# is a clock that is trusted in 1970. Takes six minutes on a busy machine.
# Needs, once, as root: dpkg --add-architecture armhf && apt-get update && apt-get install qemu-system-arm cpio kmod python3. The kernel is fetched and unpacked, not installed.
set -eu
cd "$(dirname "$0")/.."

watched=chip
if [ "${1:-}" = --clock ]; then
	watched=clock
	shift
fi
stop() { printf 'kernel: %s\n' "$*" >&2; exit 1; }
for t in qemu-system-arm cpio depmod python3; do
	command -v "$t" >/dev/null || PATH="$PATH:/usr/sbin:/sbin" command -v "$t" >/dev/null || stop "$t is missing"
done
PATH="$PATH:/usr/sbin:/sbin"
work=$(mktemp -d)
emulator=""
trap '[ -z "$emulator" ] || kill "$emulator" 2>/dev/null; rm -rf "$work"' EXIT
trap 'exit 1' INT TERM

cache=${XDG_CACHE_HOME:-$HOME/.cache}/millwarden-kernel
mkdir -p "$cache"
if ! ls "$cache"/linux-image-*_armhf.deb >/dev/null 2>&1; then
	name=$(apt-cache search --names-only '^linux-image-6\.1.*-armmp$' | awk '{print $1}' | sort -V | tail -1)
	[ -n "$name" ] || stop "apt knows no kernel linux-image-*-armmp; is the architecture armhf added?"
	(cd "$cache" && apt-get download "$name:armhf" busybox-static:armhf >/dev/null) || stop "the kernel could not be fetched"
fi
dpkg-deb -x "$(ls "$cache"/linux-image-*_armhf.deb | tail -1)" "$work/kernel"
dpkg-deb -x "$(ls "$cache"/busybox-static*_armhf.deb | tail -1)" "$work/busybox"
release=$(ls "$work/kernel/lib/modules")

tree=$work/tree
mkdir -p "$tree/bin" "$tree/lib/modules/$release" "$tree/proc" "$tree/sys" "$tree/dev" "$tree/tmp" "$tree/run"
cp "$work/busybox/bin/busybox" "$tree/bin/"
if [ -n "${1:-}" ]; then
	cp "$1" "$tree/bin/millwarden"
else
	CGO_ENABLED=0 GOOS=linux GOARCH=arm GOARM=7 go build -trimpath -ldflags "-s -w" -o "$tree/bin/millwarden" ./gateway
fi
depmod -b "$work/kernel" "$release"
for module in i2c-imx i2c-dev lm75; do
	modprobe -d "$work/kernel" -S "$release" --show-depends "$module" | awk '$1 == "insmod" {print $2}' >>"$work/modules"
done
awk '!seen[$0]++' "$work/modules" >"$work/modules.once"
while read -r file; do
	cp "$file" "$tree/lib/modules/$release/"
	basename "$file" >>"$tree/lib/modules/order"
done <"$work/modules.once"

cat >"$tree/site.rules" <<'RULES'
site emulated
    timezone        UTC
    altitude        0 m

station store-1 is store

probe store-wall
    part            lm75 on i2c-0 at 0x48
    gives           wall-temperature at store-1
    every           1 s

alarm too-hot at store-1
    when            wall-temperature > 45 °C
    off-delay       5 s
    priority        high
    class           quality
    consequence     "Coffee fades."
    action          "Open the store."
    respond-within  1 h

person ana
    mail            ana@estate.example
RULES
sed 's/part            lm75 on i2c-0 at 0x48/part            hwmon on hwmon device tmp105\n    input           temp1 is wall/; s/gives           wall-temperature at store-1/gives           wall-temperature at store-1 as wall/' "$tree/site.rules" >"$tree/hwmon.rules"
cat "$tree/site.rules" - >"$tree/clock.rules" <<'RULES'

use board

change clock-unset
    on-delay        10 s
    because         "a try in which nobody waits for ten minutes"
RULES

cat >"$tree/init" <<'INIT'
#!/bin/busybox sh
export PATH=/bin
/bin/busybox --install -s /bin
mount -t proc proc /proc
mount -t sysfs sys /sys
mount -t devtmpfs dev /dev
mount -t tmpfs tmp /tmp
mkdir -p /etc
ip link set lo up
ip addr add 127.0.0.1/8 dev lo 2>/dev/null
release=$(uname -r)
while read -r m; do
	case $m in lm75.ko*) continue ;; esac
	insmod "/lib/modules/$release/$m" || echo "NOT LOADED $m"
done </lib/modules/order
for i in 1 2 3 4 5 6 7 8 9 10; do [ -e /dev/i2c-0 ] && break; sleep 1; done
echo "BOOTED $(cut -d" " -f1 /proc/uptime) s"
mount -o remount,ro /
touch /new 2>/dev/null || echo "ROOT read-only, $(grep MemTotal /proc/meminfo), $(grep MemAvailable /proc/meminfo)"
[ ! -e /clock ] || exec /bin/sh /clock
echo "SCAN"
millwarden scan 2>&1
watch() { # rules file, mark
	millwarden run --trust-clock --rules "$1" --data "/tmp/data-$2" >"/tmp/run-$2.log" 2>&1 &
	pid=$!
	echo "WAIT $2"
	last=""
	n=0
	while [ $n -lt 900 ]; do
		n=$((n + 1))
		now=$(millwarden readings --data "/tmp/data-$2" store-1/wall-temperature 2>&1; millwarden alarms --data "/tmp/data-$2" 2>/dev/null | grep too-hot)
		[ "$now" = "$last" ] || echo "SEES $2 $now"
		last=$now
		case $now in *too-hot*unacknowledged*) echo "RINGS $2"; break ;; esac
		sleep 1
	done
	grep -E 'VmHWM|VmRSS' /proc/$pid/status
	grep MemAvailable /proc/meminfo
	kill $pid
	wait $pid
	tail -3 "/tmp/run-$2.log"
}
watch /site.rules driver
echo "COOL"
sleep 5
for m in /lib/modules/$release/lm75.ko*; do insmod "$m"; done
echo tmp105 0x48 >/sys/bus/i2c/devices/i2c-0/new_device
cat /sys/class/hwmon/hwmon*/name
watch /hwmon.rules hwmon
echo "DONE"
poweroff -f
INIT
chmod +x "$tree/init"
[ $watched = chip ] || cat >"$tree/clock" <<'CLOCK'
data=/tmp/data
marker=/run/systemd/timesync/synchronized
mount -t tmpfs run /run
mkdir -p /run/systemd/timesync
start() { # option
	millwarden run $1 --rules /clock.rules --data $data >>/tmp/run.log 2>&1 &
	pid=$!
}
end() { kill $pid; wait $pid; }
until_() { # mark, words, how often: until the logbook has them so often
	n=0
	while [ $n -lt 600 ]; do
		n=$((n + 1))
		if [ "$(millwarden logbook --data $data 2>/dev/null | grep -c "$2")" -ge "$3" ]; then
			echo "CAME $1 $(millwarden logbook --data $data | grep "$2" | tail -1)"
			return
		fi
		sleep 1
	done
	echo "MISSED $1"
	millwarden logbook --data $data | tail -20
}
state() { # alarm: calls, over, or none
	case $(millwarden alarms --data $data 2>/dev/null | grep "$1") in
	*returned*) echo over ;;
	*unacknowledged*) echo calls ;;
	*) echo none ;;
	esac
}
becomes() { # mark, alarm, state
	begun=$(cut -d. -f1 /proc/uptime)
	n=0
	while [ $n -lt 600 ]; do
		n=$((n + 1))
		if [ "$(state "$2")" = "$3" ]; then
			echo "BECOMES $1 $2 $3 after $(($(cut -d. -f1 /proc/uptime) - begun)) s"
			return
		fi
		sleep 1
	done
	echo "MISSED $1 $2 $3"
	millwarden alarms --data $data
}
rings() { # mark: silent while the chip is cool; hot, which is done from outside, one more occurrence comes; cool again, it is over
	[ "$(state too-hot)" != calls ] || echo "FALSE $1"
	echo "HEAT $1 $(date)"
	becomes "$1" too-hot calls
	echo "COOL $1"
	becomes "$1" too-hot over
}
kept() { # mark, from, to: how many readings have a time between, how many have none, how many times are there twice
	millwarden export --data $data --from "$2" --to "$3" store-1/wall-temperature >/tmp/kept.csv 2>/tmp/kept.txt
	without=$(sed -n 's/ more were taken before.*//p' /tmp/kept.txt)
	echo "KEPT $1 $(grep -c wall-temperature /tmp/kept.csv) with, ${without:-0} without, $(cut -d, -f1 /tmp/kept.csv | sort | uniq -d | grep -c .) twice"
}
wall() { date -s "$1" >/dev/null; }

echo "CLOCK $(date)"
start
rings 1970
becomes 1970 clock-unset calls
kept 1970 1970-01-01 1970-01-03
wall "2027-03-01 12:00:00"
touch $marker
until_ set "readings got their time" 1
becomes set clock-unset over
kept before-noon 2027-03-01 2027-03-01T12:00
rings set
wall "$(date -d @$(($(date +%s) - 3600)) '+%Y-%m-%d %H:%M:%S')"
until_ back "wall clock set back by 1h" 1
rings back
wall "2037-03-01 12:00:00"
until_ ahead "wall clock not believed: it says 2037" 1
rings ahead
becomes ahead clock-unset calls
end
rm $marker
start
rings start-ahead
wall "2027-03-01 18:00:00"
touch $marker
until_ again "readings got their time" 2
end
kept all 2027-03-01 2027-03-02
kept left-in-1970 1970-01-01 1970-01-03
kept left-ahead 2037-03-01 2037-03-02
millwarden logbook --data $data
# The control: the same with a clock that is trusted whatever it says. Nobody may be told of it then, and the readings must lie in 1970.
data=/tmp/trusted
rm $marker
wall "1970-01-01 06:00:00"
start --trust-clock
rings trusted
[ "$(state clock-unset)" != calls ] || echo "FALSE trusted"
end
kept trusted 1970-01-01 1970-01-03
echo "PANICS $(grep -c panic /tmp/run.log)"
echo "DONE"
poweroff -f
CLOCK
(cd "$tree" && find . | cpio -o -H newc --quiet | gzip -1 >"$work/initrd")

qemu-system-arm -M sabrelite -m 256 -display none -monitor none -serial null -serial "file:$work/log" -qmp "unix:$work/qmp,server,nowait" -no-reboot \
	-device tmp105,bus=i2c-bus.0,address=0x48,id=t1 -kernel "$work/kernel/boot/vmlinuz-$release" \
	-dtb "$(find "$work/kernel" -name imx6q-sabrelite.dtb)" -initrd "$work/initrd" -append "console=ttymxc1 rdinit=/init quiet" &
emulator=$!

cat >"$work/drive.py" <<'PY'
import json, re, socket, sys, time
log, path = sys.argv[1], sys.argv[2]
def text():
    try: return open(log, errors="replace").read()
    except FileNotFoundError: return ""
s = None
for _ in range(50):
    try:
        s = socket.socket(socket.AF_UNIX); s.connect(path); break
    except OSError: time.sleep(0.2)
f = s.makefile("rw")
def ask(**q):
    f.write(json.dumps(q) + "\n"); f.flush()
    while True:
        a = json.loads(f.readline())
        if "return" in a or "error" in a: return a
f.readline(); ask(execute="qmp_capabilities")
def celsius(t):
    a = ask(execute="qom-set", arguments={"path": "/machine/peripheral/t1", "property": "temperature", "value": int(t * 1000)})
    if "error" in a: sys.exit("the chip cannot be set: %s" % a)
def wait(mark, within):
    end = time.time() + within
    while time.time() < end:
        if mark in text(): return
        time.sleep(0.5)
    print(text()[-4000:]); sys.exit("never came: " + mark)
def number(line, of):
    found = re.search("KEPT " + line + r" (\d+) with, (\d+) without, (\d+) twice", text())
    return int(found.group(("with", "without", "twice").index(of) + 1))
if sys.argv[3] == "clock":
    celsius(26.5)
    for mark in ("1970", "set", "back", "ahead", "start-ahead", "trusted"):
        wait("HEAT " + mark + " ", 1800)
        celsius(60)
        wait("COOL " + mark, 1200)
        celsius(26.5)
    wait("DONE", 1200)
    t = text()
    print(t[t.index("BOOTED"):])
    wrong = [word for word in ("MISSED", "FALSE") if word in t]
    if not "PANICS 0" in t: wrong.append("panics")
    if not "HEAT 1970 " in t or not re.search("HEAT 1970 .* 1970", t): wrong.append("the board did not begin in 1970")
    waited = number("1970", "without")
    if waited < 10 or number("1970", "with"): wrong.append("readings of an unset clock have a time")
    if number("before-noon", "with") < waited or number("before-noon", "without"): wrong.append("they did not get it when the clock was set")
    if number("all", "without") or number("all", "twice"): wrong.append("times are missing or there twice")
    for line in ("left-in-1970", "left-ahead"):
        if number(line, "with") or number(line, "without"): wrong.append("readings are " + line)
    if not number("trusted", "with"): wrong.append("the control saw nothing")
    if wrong: sys.exit("wrong: " + ", ".join(wrong))
    sys.exit()
celsius(26.5)
wait("SEES driver store-1/wall-temperature  26.5", 900)
celsius(60)
wait("RINGS driver", 600)
celsius(26.5)
wait("SEES hwmon store-1/wall-temperature  26.5", 900)
celsius(61)
wait("RINGS hwmon", 600)
wait("DONE", 60)
t = text()
print(t[t.index("BOOTED"):])
PY
python3 "$work/drive.py" "$work/log" "$work/qmp" $watched || stop "the emulated board did not do what it should"
if [ $watched = clock ]; then
	echo "alarms rang in 1970, 57 years on, an hour back and ten years ahead, before a start and after it; the clock was told unset; each reading lies at its own time"
	exit 0
fi
grep -q 'an LM75 or its kin' "$work/log" || stop "scan did not know the chip"
grep -q '^ROOT read-only' "$work/log" || stop "the root could be written"
echo "a chip set from outside was read by the driver and by hwmon, on a real kernel with a read-only root, and rang"
