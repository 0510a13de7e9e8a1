package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"

	"fettle/store/wholefile"
)

// mostID is more bytes than the ID of a bench has.
const mostID = 256

// benchID is an ID of this bench that stays: the name of the machine, and what a file in the
// folder adds to it, since several machines may have one name.
func benchID(folder string) string {
	host, _ := os.Hostname()
	if folder == "" {
		return host
	}
	path := filepath.Join(folder, "bench")
	for range 2 {
		if data, err := wholefile.Read(path, mostID); err == nil {
			return host + "-" + strings.TrimSpace(string(data))
		}
		random := make([]byte, 8)
		_, _ = rand.Read(random) // it never fails
		if wholefile.MakeFolder(folder) != nil {
			break
		}
		_ = wholefile.Create(context.Background(), path, 0o600, func(file *os.File) error {
			_, err := file.WriteString(hex.EncodeToString(random) + "\n")
			return err
		})
	}
	return host
}

// copyFolder is where what was last seen of a shed is kept; "": nowhere.
func copyFolder(folder, name, shed string) string {
	if folder == "" || shed == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(name))
	return filepath.Join(folder, shed+"-"+hex.EncodeToString(sum[:8]))
}
