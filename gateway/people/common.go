package people

import (
	"crypto/sha256"
	_ "embed"
	"encoding/binary"
)

// common is a Bloom filter of the passwords that were used most in public leaks, of frequent words and of names, some hundred thousand: the texts themselves would take megabytes
// of the program and, made ready for look-up, thirteen of memory. It is a string, so that it stays in the file until somebody sets a password.
//
// It is made anew from the lists of github.com/trustelem/zxcvbn, which the tests alone hold: go test ./gateway/people -run Common -update.
//
//go:embed common.filter
var common string

// places is how many bits a text sets. Best for 20 bits of room a text: 20 ln 2 [Bloom 1970]; one that is in no list is then refused once in 15,000 times.
const places = 14

// isCommon tells whether a password in small letters is in the lists. It is never wrong about one that is.
func isCommon(password string) bool {
	for _, bit := range placesOf(password, len(common)) {
		if common[bit/8]&(1<<(bit%8)) == 0 {
			return false
		}
	}
	return true
}

// placesOf are the bits of a password in a filter of so many bytes: two hashes make all of them [Kirsch and Mitzenmacher 2006].
func placesOf(password string, size int) (bits [places]uint64) {
	sum := sha256.Sum256([]byte(password))
	first, second := binary.BigEndian.Uint64(sum[:]), binary.BigEndian.Uint64(sum[8:])
	for i := range bits {
		bits[i] = (first + uint64(i)*second) % uint64(8*size) //nolint:gosec // both are small and positive
	}
	return bits
}
