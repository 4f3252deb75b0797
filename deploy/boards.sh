#!/bin/sh
# Runs the tests of what reads, reckons and decides as the small boards would: with words of 32 bits (386, on this processor), and as ARM programs in emulation (qemu, user mode).
#   sh deploy/boards.sh [386] [arm]         both unless one is named
# Needs for arm: apt-get install qemu-user-static (or qemu-user).
set -eu
cd "$(dirname "$0")/.."
GOTOOLCHAIN=$(sed -n 's/^toolchain //p' go.mod)
export GOTOOLCHAIN CGO_ENABLED=0

packages="./drivers/... ./internal/units ./internal/reading ./internal/wire ./rules/engine"
for board in ${*:-386 arm}; do
	printf '\n== %s\n' "$board"
	case $board in
	386)
		# shellcheck disable=SC2086 # the list is meant to be split
		GOARCH=386 go test -count=1 -timeout 20m $packages
		;;
	arm)
		emulator=$(command -v qemu-arm-static || command -v qemu-arm) || { echo "boards: qemu-arm is missing: apt-get install qemu-user-static" >&2; exit 1; }
		# shellcheck disable=SC2086 # the list is meant to be split
		GOARCH=arm GOARM=7 go test -count=1 -timeout 60m -exec "$emulator" $packages
		;;
	*)
		echo "boards: $board is none of 386, arm" >&2
		exit 1
		;;
	esac
done
