//go:build !darwin && !linux

package cli

func limitMemory(uint64) {}
