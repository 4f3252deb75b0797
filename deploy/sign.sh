#!/bin/sh
# Signs the checksums of a release, and checks a release before it is installed. With OpenSSH alone [ssh-keygen(1), -Y], which every board has.
#   sh deploy/sign.sh sign OUT KEY            SHA256SUMS.sig beside OUT/SHA256SUMS, by the private key KEY
#   sh deploy/sign.sh check OUT [SIGNERS]     that a known signer signed OUT/SHA256SUMS, and that each file there is as signed; exit 0 good, 1 not
# SIGNERS is deploy/release-signers unless given [ssh-keygen(1), ALLOWED SIGNERS].
set -eu
# What the signature is for: one made for something else is none of a release.
purpose=millwarden-release
signer=releases@millwarden.example
say() { printf 'sign: %s\n' "$*" >&2; }
[ $# -ge 2 ] || { say "say sign or check, and the folder"; exit 2; }
sums=$2/SHA256SUMS
[ -f "$sums" ] || { say "$sums is not there"; exit 1; }

case $1 in
sign)
	[ $# = 3 ] || { say "name the private key"; exit 2; }
	rm -f "$sums.sig"
	ssh-keygen -q -Y sign -f "$3" -n "$purpose" "$sums"
	;;
check)
	signers=${3:-$(dirname "$0")/release-signers}
	[ -f "$sums.sig" ] || { say "REFUSED: there is no signature $sums.sig. Do not install it."; exit 1; }
	ssh-keygen -Y verify -f "$signers" -I "$signer" -n "$purpose" -s "$sums.sig" <"$sums" >/dev/null 2>&1 || { say "REFUSED: $sums is signed by nobody of $signers, or was changed. Do not install it."; exit 1; }
	(cd "$2" && sha256sum --quiet --strict --ignore-missing -c SHA256SUMS) || { say "REFUSED: a file is not as it was signed. Do not install it."; exit 1; }
	# What is there and in no line of the checksums was signed by nobody.
	for file in "$2"/millwarden*; do
		grep -qF "  $(basename "$file")" "$sums" || { say "REFUSED: $file is in no line of SHA256SUMS. Do not install it."; exit 1; }
	done
	echo "signed, and each file as signed"
	;;
*)
	say "$1 is neither sign nor check"
	exit 2
	;;
esac
