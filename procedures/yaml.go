package procedures

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// The limits of a document that is kept with a job.
const (
	mostBytes = 1 << 20
	deepest   = 100
)

// syntax parses the bytes of one file into the node of its only document. Of a kept
// document it asks less than of one that is checked.
func syntax(file string, data []byte, kept bool) (*node, Faults) {
	at := func(line, column int, text string, args ...any) Faults {
		return Faults{{file, line, column, fmt.Sprintf(text, args...)}}
	}
	deepest := deepest
	if !kept {
		deepest = deepestNodes
		if faults := tooMuch(file, data); len(faults) > 0 {
			return nil, faults
		}
	}
	if len(data) > mostBytes {
		return nil, at(0, 0, "the document has %d bytes; the limit is %d (1 MiB)", len(data), mostBytes)
	}
	if line, column, what := unprintable(data); what != "" {
		return nil, at(line, column, "%s: a document is plain UTF-8 text", what)
	}
	var root, more *node
	var err error
	if one, commented := takenApart(data); one != nil && (kept || !commented) { // no fault of a kept one speaks of a comment
		root = &node{Kind: documentNode, Content: []*node{one}}
	} else {
		root, more, err = decode(data)
	}
	var slips Faults
	if err != nil && !kept {
		var mended []byte
		if slips, mended = notYAML(file, data, err); mended == nil {
			return nil, slips
		}
		root, more, err = decode(mended)
	}
	switch {
	case err != nil:
		line, text := yamlError(err)
		return nil, append(slips, at(line, 1, "%s", text)...)
	case root == nil || len(root.Content) != 1:
		return nil, append(slips, at(0, 0, "the document is empty")...)
	}
	nodes := 0
	if faults := refuse(file, root, 0, deepest, &nodes); len(faults) > 0 {
		return nil, append(slips, faults...)
	}
	if !kept && nodes > mostNodes {
		return nil, at(0, 0, "the document has %d entries; the limit is %d", nodes, mostNodes)
	}
	if more != nil {
		return nil, append(slips, at(int(more.Line), int(more.Column), "a second document begins here; one file holds one document")...)
	}
	return root.Content[0], slips
}

// decode gives the first document of a text, nil where there is none, and the
// second where there is one.
func decode(data []byte) (root, more *node, err error) {
	decoder := yaml.NewDecoder(bytes.NewReader(data))
	for _, to := range []**node{&root, &more} {
		var n yaml.Node
		switch err := decoder.Decode(&n); {
		case errors.Is(err, io.EOF):
			return root, more, nil
		case err != nil:
			return nil, nil, err
		}
		*to = nodeOf(&n)
	}
	return root, more, nil
}

// parses reports by its error whether a text is YAML.
//
//go:noinline
func parses(data []byte) error {
	_, _, err := decode(data)
	return err
}

// unprintable finds the first byte that cannot be in a text file.
func unprintable(data []byte) (line, column int, what string) {
	for i := 0; i < len(data); {
		if c := data[i]; c < utf8.RuneSelf {
			if c < ' ' && c != '\t' && c != '\n' && c != '\r' || c == 0x7f {
				line, column = placeOf(data[:i])
				return line, column, fmt.Sprintf("the control character %U", c)
			}
			i++
			continue
		}
		r, size := utf8.DecodeRune(data[i:])
		switch {
		case r == utf8.RuneError && size == 1:
			what = "a byte that is not UTF-8"
		case unsafe(r):
			what = fmt.Sprintf("the control character %U", r)
		default:
			i += size
			continue
		}
		line, column = placeOf(data[:i])
		return line, column, what
	}
	return 0, 0, ""
}

// placeOf is the line and the column after the text, which ends with a whole
// character.
//
//go:noinline
func placeOf(before []byte) (line, column int) {
	return bytes.Count(before, []byte("\n")) + 1, utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:]) + 1
}

// yamlError parses the library's message, which has only the line.
func yamlError(err error) (int, string) {
	text := strings.TrimPrefix(err.Error(), "yaml: ")
	if m := regexp.MustCompile(`^line (\d+): (.*)`).FindStringSubmatch(text); m != nil {
		line, _ := strconv.Atoi(m[1])
		return line, "not YAML: " + m[2]
	}
	return 1, "not YAML: " + text
}

// refuse finds what no document may contain, at any depth, and counts the nodes. It
// never follows aliases, so that a few lines cannot expand to a million.
func refuse(file string, n *node, depth, deepest int, nodes *int) Faults {
	*nodes++
	fault := func(text string) Faults { return Faults{{file, int(n.Line), int(n.Column), text}} }
	switch {
	case depth > deepest+1: // the document itself is a node
		return fault(fmt.Sprintf("nested more than %d levels deep", deepest))
	case n.Kind == aliasNode:
		return fault("an alias: write its value out here, or put it in quotes if it is text")
	case n.Style&anchoredStyle != 0:
		return fault("an anchor: write its value out in each place, or put it in quotes if it is text")
	case n.Style&taggedStyle != 0:
		return fault("a tag: delete it, or put it in quotes if it is text")
	}
	var faults Faults
	for _, c := range n.Content {
		faults = append(faults, refuse(file, c, depth+1, deepest, nodes)...)
		if len(faults) > 20 {
			break
		}
	}
	return faults
}
