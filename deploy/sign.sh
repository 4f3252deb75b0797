#!/bin/sh
# Makes the key of whoever releases, signs the checksums of a release, and checks one before it is installed. With OpenSSH alone [ssh-keygen(1), -Y], which every board has.
#   sh deploy/sign.sh key KEY [SIGNERS]       once a maintainer: makes KEY and KEY.pub, asks for a passphrase, adds a line to SIGNERS, prints the fingerprint
#   sh deploy/sign.sh sign OUT KEY            SHA256SUMS.sig beside OUT/SHA256SUMS, by the private key KEY
#   sh deploy/sign.sh check OUT [SIGNERS]     that a known signer signed OUT/SHA256SUMS, and that each file there is as signed; exit 0 good, 1 not
# SIGNERS is deploy/release-signers unless given [ssh-keygen(1), ALLOWED SIGNERS].
set -eu
# What the signature is for: one made for something else is none of a release.
purpose=millwarden-release
signer=releases@millwarden.example
say() { printf 'sign: %s\n' "$*" >&2; }
[ $# -ge 2 ] || { say "say key and a file, or sign or check and the folder"; exit 2; }
sums=$2/SHA256SUMS
[ "$1" = key ] || [ -f "$sums" ] || { say "$sums is not there"; exit 1; }

case $1 in
key)
	signers=${3:-$(dirname "$0")/release-signers}
	[ ! -e "$2" ] && [ ! -e "$2.pub" ] || { say "$2 is there already: a key is made once"; exit 1; }
	# PASSPHRASE is for tests; without it ssh-keygen asks on the terminal.
	ssh-keygen -q -t ed25519 -C "$signer" ${PASSPHRASE+-N "$PASSPHRASE"} -f "$2"
	echo "$signer namespaces=\"$purpose\" $(cut -d' ' -f1,2 "$2.pub")" >>"$signers"
	ssh-keygen -l -f "$2.pub"
	echo "Commit $signers, and write this fingerprint into the release notes. Keep $2 on a stick in a drawer: whoever has it and its passphrase can sign."
	;;
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
	say "$1 is none of key, sign, check"
	exit 2
	;;
esac
