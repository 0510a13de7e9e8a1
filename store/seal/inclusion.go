package seal

import (
	"bytes"
	"encoding/base64"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
)

const inclusionLine = "c2sp.org/tlog-proof@v1"

// maxInclusion is the longest proof of inclusion: one record, and space for the
// rest.
const maxInclusion = (store.MaxRecord+2)/3*4 + maxNote + 8<<10

// An Inclusion proves that a record was in a journal when it was sealed. Its text
// is a C2SP tlog-proof whose extra line is the record:
//
//	c2sp.org/tlog-proof@v1
//	extra <the record in base64; no such line if the record is empty>
//	index <the record's position, counted from 0>
//	<hashes, from the record up to the root, each in base64 on its line>
//	<an empty line>
//	<the seal>
type Inclusion struct {
	Record []byte
	Index  int64
	Hashes []tlog.Hash
	Note   []byte // the seal
}

// ProveInclusion proves from a journal's stored hashes that the seal covers the
// record at the index. It returns [ErrDiffers] if it does not: if the record is a
// different one, or the journal is not the sealed one any more. It does not check
// the seal's signature.
func ProveInclusion(record []byte, index int64, signed []byte, hashes tlog.HashReader) (*Inclusion, error) {
	st, err := Read(signed)
	if err != nil {
		return nil, err
	}
	if len(record) > store.MaxRecord {
		return nil, wrong(ErrNotProof, "the record is %d bytes long; the limit is %d", len(record), store.MaxRecord)
	}
	if index < 0 || index >= st.Head.Size {
		return nil, wrong(ErrShorter, "record %d (counted from 0) is not covered by a seal of %d records", index, st.Head.Size)
	}
	path, err := tlog.ProveRecord(st.Head.Size, index, hashes)
	if err != nil {
		return nil, err
	}
	if tlog.CheckRecord(path, st.Head.Size, st.Head.Root, index, tlog.RecordHash(record)) != nil {
		return nil, wrong(ErrDiffers, "record %d (counted from 0) of %s is not covered by this seal", index, st.Origin)
	}
	return &Inclusion{Record: bytes.Clone(record), Index: index, Hashes: path, Note: bytes.Clone(signed)}, nil
}

// Text returns the text of the proof.
func (p *Inclusion) Text() []byte {
	text := []byte(inclusionLine + "\n")
	if len(p.Record) > 0 {
		text = append(text, "extra "...)
		text = base64.StdEncoding.AppendEncode(text, p.Record)
		text = append(text, '\n')
	}
	text = append(text, "index "...)
	text = strconv.AppendInt(text, p.Index, 10)
	text = append(text, '\n')
	text = writeHashes(text, p.Hashes)
	text = append(text, '\n')
	return append(text, p.Note...)
}

// ReadInclusion reads the text of a proof. It does not check whether it holds.
func ReadInclusion(proof []byte) (*Inclusion, error) {
	if len(proof) > maxInclusion {
		return nil, wrong(ErrNotProof, "it is %d bytes long; the limit is %d", len(proof), maxInclusion)
	}
	head, signed, ok := strings.Cut(string(proof), "\n\n")
	lines := strings.Split(head, "\n")
	if !ok || lines[0] != inclusionLine {
		return nil, wrong(ErrNotProof, "it does not begin with %q, or has no seal", inclusionLine)
	}
	lines = lines[1:]
	p := &Inclusion{Record: []byte{}, Note: []byte(signed)}
	if len(lines) > 0 && strings.HasPrefix(lines[0], "extra ") {
		p.Record, ok = readBase64(lines[0][len("extra "):])
		if !ok || len(p.Record) == 0 || len(p.Record) > store.MaxRecord {
			return nil, wrong(ErrNotProof, "its record is too long or not in base64")
		}
		lines = lines[1:]
	}
	if len(lines) == 0 || !strings.HasPrefix(lines[0], "index ") {
		return nil, wrong(ErrNotProof, "it does not say the record's index")
	}
	if p.Index, ok = readNumber(lines[0][len("index "):]); !ok {
		return nil, wrong(ErrNotProof, "its index is not a number from 0 to %d", int64(MaxSize))
	}
	var err error
	p.Hashes, err = readHashes(lines[1:])
	return p, err
}

// CheckInclusion checks the text of a proof with nothing but this public key, and
// returns what it proves: that the record was at the index of the journal in the
// statement. Besides the errors of [Open] it returns [ErrNotProof] and
// [ErrUnproved].
func CheckInclusion(proof []byte, public string) (record []byte, index int64, st Statement, err error) {
	p, err := ReadInclusion(proof)
	if err != nil {
		return nil, 0, Statement{}, err
	}
	st, err = Open(p.Note, public)
	if err != nil {
		return nil, 0, Statement{}, err
	}
	if tlog.CheckRecord(p.Hashes, st.Head.Size, st.Head.Root, p.Index, tlog.RecordHash(p.Record)) != nil {
		return nil, 0, Statement{}, wrong(ErrUnproved, "the record does not lead to the sealed root as record %d of %d (counted from 0)", p.Index, st.Head.Size)
	}
	return p.Record, p.Index, st, nil
}
