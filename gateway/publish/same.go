package publish

import (
	"crypto/sha256"
	"crypto/subtle"
)

// same compares in a time that tells nothing, not even a length.
func same(got []byte, want string) bool {
	a, b := sha256.Sum256(got), sha256.Sum256([]byte(want))
	return subtle.ConstantTimeCompare(a[:], b[:]) == 1
}
