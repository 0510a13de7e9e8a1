package seal

import (
	"slices"
	"strings"
)

// Lift extracts a seal or a proof from a text that it was copied with: it drops the
// words before and after it, spaces at the ends of lines and the line endings of
// another system, and rejoins a signature that a screen has wrapped. It returns a
// well-formed seal or proof unchanged, and so a text without a signature. For a text
// with more than one seal or proof it returns [ErrNotNote]: a reader might see one
// of them while the program checks the other.
//
// The result is not trusted: it is checked like any other seal or proof.
func Lift(copied []byte) ([]byte, error) {
	if len(copied) > maxInclusion || wellMade(copied) {
		return copied, nil
	}
	lines := unwrapped(strings.Split(string(copied), "\n"))
	first := slices.IndexFunc(lines, isSignature)
	if first < 0 {
		return copied, nil
	}
	begin, above, last, seals := 0, first, first, 0 // above: after the signed text
	for i, line := range lines {
		if isSignature(line) {
			last = i
			if i == 0 || !isSignature(lines[i-1]) {
				seals++
			}
		}
	}
	begin = slices.IndexFunc(lines[:first], beginsProof)
	if seals > 2 || seals == 2 && (begin < 0 || lines[begin] != consistencyLine) {
		return nil, wrong(ErrNotNote, "it contains more than one seal or proof: check each one separately")
	}
	if begin < 0 {
		for above > 0 && lines[above-1] == "" {
			above--
		}
		for begin = above; begin > 0 && lines[begin-1] != ""; begin-- {
		}
		lines = append(append(lines[:above:above], ""), lines[first:]...) // one empty line, however many there were
		last += 1 - (first - above)
	}
	return []byte(strings.Join(lines[begin:last+1], "\n") + "\n"), nil
}

// wellMade reports whether the text is a seal or a proof and nothing else.
func wellMade(text []byte) bool {
	if p, err := ReadInclusion(text); err == nil {
		text = p.Note
	} else if p, err := ReadConsistency(text); err == nil {
		_, err := Read(p.Older)
		if err != nil {
			return false
		}
		text = p.Newer
	}
	_, err := Read(text)
	return err == nil
}

// unwrapped returns lines without spaces at their ends, each signature on one line.
func unwrapped(broken []string) (lines []string) {
	var signature []string // the parts of one that may continue
	end := func() {
		if signature != nil {
			lines, signature = append(lines, strings.Join(signature, "")), nil
		}
	}
	for _, line := range broken {
		line = strings.TrimSpace(line)
		if goesOn(signature, line) {
			if len(signature) == 1 && strings.Count(signature[0], " ") == 1 { // wrapped after the signer's name
				signature = append(signature, " ")
			}
			signature = append(signature, line)
			continue
		}
		end()
		if signs(line) {
			signature = []string{line}
		} else {
			lines = append(lines, line)
		}
	}
	end()
	return lines
}

// goesOn reports whether a line continues a signature. Nothing follows the padding
// of base64.
func goesOn(signature []string, line string) bool {
	if len(signature) == 0 || line == "" || !isBase64(line) {
		return false
	}
	return line == "=" || !strings.HasSuffix(signature[len(signature)-1], "=")
}

//go:noinline
func isSignature(line string) bool {
	_, ok := readSignature(line)
	return ok
}

func signs(line string) bool { return strings.HasPrefix(line, "— ") }

func beginsProof(line string) bool { return line == inclusionLine || line == consistencyLine }

func isBase64(line string) bool {
	return strings.Trim(line, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/=") == ""
}
