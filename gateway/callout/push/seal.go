package push

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
)

// Sizes of the encrypted form. [RFC 8188 section 2.1, RFC 8291 section 4]
const (
	saltSize   = 16
	authSize   = 16
	pointSize  = 65 // a point of P-256, not compressed
	headerSize = saltSize + 4 + 1 + pointSize
	recordSize = 4096
	textMost   = recordSize - headerSize - 1 - 16 // one record: header, delimiter and tag beside the text
)

// seal encrypts a text for one telephone, with a key and a salt for this message alone.
func seal(s *Subscription, text []byte) ([]byte, error) {
	sender, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("push: a key for the message: %w", err)
	}
	var salt [saltSize]byte
	_, _ = rand.Read(salt[:]) // never fails [crypto/rand]
	return sealWith(s, text, sender, salt)
}

// sealWith is seal with key and salt given.
func sealWith(s *Subscription, text []byte, sender *ecdh.PrivateKey, salt [saltSize]byte) ([]byte, error) {
	if len(text) > textMost {
		return nil, fmt.Errorf("push: the message holds %d bytes, at most %d go", len(text), textMost)
	}
	receiver, err := ecdh.P256().NewPublicKey(s.P256DH) // refuses what is no point of the curve [RFC 8291 section 3.1]
	if err != nil {
		return nil, errors.New("push: the telephone's key is no point of P-256")
	}
	shared, err := sender.ECDH(receiver)
	if err != nil {
		return nil, fmt.Errorf("push: agreeing on a key: %w", err)
	}
	key, nonce, err := derive(shared, s.Auth, receiver.Bytes(), sender.PublicKey().Bytes(), salt[:])
	if err != nil {
		return nil, fmt.Errorf("push: deriving the key: %w", err)
	}
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, err
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		return nil, err
	}
	body := make([]byte, 0, headerSize+len(text)+1+gcm.Overhead())
	body = append(body, salt[:]...)
	body = binary.BigEndian.AppendUint32(body, recordSize)
	body = append(body, pointSize)
	body = append(body, sender.PublicKey().Bytes()...)
	padded := append(append([]byte{}, text...), 2) // 2 marks the last record [RFC 8188 section 2]
	return gcm.Seal(body, nonce, padded, nil), nil
}

// derive gives key and nonce of the content. [RFC 8291 section 3.4, RFC 8188 sections 2.2 and 2.3]
func derive(shared, auth, receiver, sender, salt []byte) (key, nonce []byte, err error) {
	prk, err := hkdf.Extract(sha256.New, shared, auth)
	if err != nil {
		return nil, nil, err
	}
	ikm, err := hkdf.Expand(sha256.New, prk, "WebPush: info\x00"+string(receiver)+string(sender), sha256.Size)
	if err != nil {
		return nil, nil, err
	}
	if prk, err = hkdf.Extract(sha256.New, ikm, salt); err != nil {
		return nil, nil, err
	}
	if key, err = hkdf.Expand(sha256.New, prk, "Content-Encoding: aes128gcm\x00", 16); err != nil {
		return nil, nil, err
	}
	nonce, err = hkdf.Expand(sha256.New, prk, "Content-Encoding: nonce\x00", 12)
	return key, nonce, err
}
