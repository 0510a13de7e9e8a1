package seal_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"testing"

	"fettle/store/seal"
)

func million() (records [][]byte, size int64) {
	records = make([][]byte, 1_000_000)
	one := bytes.Repeat([]byte("r"), 300)
	for i := range records {
		records[i] = bytes.Clone(one)
		binary.BigEndian.PutUint64(records[i], uint64(i))
	}
	return records, 300_000_000
}

// The baseline for the others: one SHA-256 over the same bytes.
func BenchmarkPlainSHA256(b *testing.B) {
	records, size := million()
	b.SetBytes(size)
	for b.Loop() {
		h := sha256.New()
		for _, record := range records {
			h.Write(record)
		}
		h.Sum(nil)
	}
}

func BenchmarkHeadOf(b *testing.B) {
	records, size := million()
	b.SetBytes(size)
	b.ReportAllocs()
	for b.Loop() {
		seal.HeadOf(records)
	}
}

func BenchmarkVerify(b *testing.B) {
	records, size := million()
	stored := seal.HashesOf(records)
	b.SetBytes(size)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := seal.Verify(records, stored); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkHashesOf(b *testing.B) {
	records, size := million()
	b.SetBytes(size)
	b.ReportAllocs()
	for b.Loop() {
		seal.HashesOf(records)
	}
}

func BenchmarkCheckInclusion(b *testing.B) {
	records, _ := million()
	proof := inclusion(b, records, 123_456)
	for b.Loop() {
		if _, _, _, err := seal.CheckInclusion(proof, peterPublic); err != nil {
			b.Fatal(err)
		}
	}
}
