package seal

import (
	"encoding/base64"
	"strconv"

	"golang.org/x/mod/sumdb/tlog"
)

// Each of these accepts only the canonical form: writing the result again must
// produce the same text.

func readBase64(text string) ([]byte, bool) {
	data, err := base64.StdEncoding.DecodeString(text)
	if err != nil || base64.StdEncoding.EncodeToString(data) != text {
		return nil, false
	}
	return data, true
}

func readHash(text string) (hash tlog.Hash, ok bool) {
	data, ok := readBase64(text)
	if !ok || len(data) != len(hash) {
		return hash, false
	}
	return tlog.Hash(data), true
}

// readNumber reads a number from 0 to [MaxSize].
func readNumber(text string) (int64, bool) {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n < 0 || n > MaxSize || strconv.FormatInt(n, 10) != text {
		return 0, false
	}
	return n, true
}

// maxHashes is how many hashes a proof for [MaxSize] records can need.
const maxHashes = 64

func readHashes(lines []string) ([]tlog.Hash, error) {
	if len(lines) > maxHashes {
		return nil, wrong(ErrNotProof, "it has %d lines of hashes; no proof needs more than %d", len(lines), maxHashes)
	}
	hashes := make([]tlog.Hash, len(lines))
	for i, line := range lines {
		var ok bool
		if hashes[i], ok = readHash(line); !ok {
			return nil, wrong(ErrNotProof, "hash %d is not a SHA-256 hash in base64", i+1)
		}
	}
	return hashes, nil
}

func writeHashes(text []byte, hashes []tlog.Hash) []byte {
	for _, hash := range hashes {
		text = append(text, hash.String()...)
		text = append(text, '\n')
	}
	return text
}
