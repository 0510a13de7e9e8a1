package seal

import (
	"bytes"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

const consistencyLine = "fettle/seal-consistency@v1"

// maxConsistency is the longest proof of consistency.
const maxConsistency = 2*maxNote + 8<<10

// A Consistency proves that a journal, when the newer seal was made, still began
// with exactly what the older one had sealed. Its text is:
//
//	fettle/seal-consistency@v1
//	<the hashes of RFC 6962 section 2.1.2, each in base64 on its line>
//	<an empty line>
//	<the older seal>
//	<an empty line>
//	<the newer seal>
type Consistency struct {
	Hashes []tlog.Hash
	Older  []byte // a seal
	Newer  []byte // a seal
}

// ProveConsistency proves from a journal's stored hashes that the newer seal
// extends the older one. It returns [ErrShorter] if the newer seal has fewer
// records, and [ErrDiffers] if the journal is not the sealed one. It does not check
// the signatures.
func ProveConsistency(older, newer []byte, hashes tlog.HashReader) (*Consistency, error) {
	from, err := Read(older)
	if err != nil {
		return nil, err
	}
	to, err := Read(newer)
	if err != nil {
		return nil, err
	}
	if from.Head.Size > to.Head.Size {
		return nil, wrong(ErrShorter, "the newer seal has %d records, the older %d", to.Head.Size, from.Head.Size)
	}
	var path tlog.TreeProof
	if from.Head.Size > 0 {
		if path, err = tlog.ProveTree(to.Head.Size, from.Head.Size, hashes); err != nil {
			return nil, err
		}
	}
	if !grew(path, from, to) {
		return nil, wrong(ErrDiffers, "the seals of %s and %s are not both of this journal", from.Origin, to.Origin)
	}
	return &Consistency{Hashes: path, Older: bytes.Clone(older), Newer: bytes.Clone(newer)}, nil
}

// grew reports whether the path leads from the one statement to the other. Every
// journal extends the empty one.
func grew(path []tlog.Hash, from, to Statement) bool {
	if from.Origin != to.Origin {
		return false
	}
	if from.Head.Size == 0 {
		return len(path) == 0
	}
	return tlog.CheckTree(path, to.Head.Size, to.Head.Root, from.Head.Size, from.Head.Root) == nil
}

// Text returns the text of the proof.
func (p *Consistency) Text() []byte {
	text := writeHashes([]byte(consistencyLine+"\n"), p.Hashes)
	text = append(text, '\n')
	text = append(text, p.Older...)
	text = append(text, '\n')
	return append(text, p.Newer...)
}

// ReadConsistency reads the text of a proof. It does not check whether it holds.
func ReadConsistency(proof []byte) (*Consistency, error) {
	if len(proof) > maxConsistency {
		return nil, wrong(ErrNotProof, "it is %d bytes long; the limit is %d", len(proof), maxConsistency)
	}
	part := strings.Split(string(proof), "\n\n") // the head, then the text and signatures of each seal
	lines := strings.Split(part[0], "\n")
	if len(part) != 5 || lines[0] != consistencyLine {
		return nil, wrong(ErrNotProof, "it does not begin with %q or does not contain two seals", consistencyLine)
	}
	hashes, err := readHashes(lines[1:])
	if err != nil {
		return nil, err
	}
	return &Consistency{
		Hashes: hashes,
		Older:  []byte(part[1] + "\n\n" + part[2] + "\n"),
		Newer:  []byte(part[3] + "\n\n" + part[4]),
	}, nil
}

// CheckConsistency checks the text of a proof with nothing but this public key, and
// returns the two statements. Besides the errors of [Open] it returns [ErrNotProof]
// and [ErrUnproved].
func CheckConsistency(proof []byte, public string) (older, newer Statement, err error) {
	p, err := ReadConsistency(proof)
	if err != nil {
		return Statement{}, Statement{}, err
	}
	if older, err = Open(p.Older, public); err != nil {
		return Statement{}, Statement{}, err
	}
	if newer, err = Open(p.Newer, public); err != nil {
		return Statement{}, Statement{}, err
	}
	if !grew(p.Hashes, older, newer) {
		return Statement{}, Statement{}, wrong(ErrUnproved, "the %d records of %s do not begin with the %d records of %s", newer.Head.Size, newer.Origin, older.Head.Size, older.Origin)
	}
	return older, newer, nil
}
