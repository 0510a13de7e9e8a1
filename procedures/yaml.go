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

// The limits of a document.
const (
	mostBytes = 1 << 20
	deepest   = 100
)

// syntax parses the bytes of one file into the node of its only document.
func syntax(file string, data []byte) (*yaml.Node, Faults) {
	at := func(line, column int, text string, args ...any) Faults {
		return Faults{{file, line, column, fmt.Sprintf(text, args...)}}
	}
	if len(data) > mostBytes {
		return nil, at(0, 0, "the document has %d bytes; the limit is %d (1 MiB)", len(data), mostBytes)
	}
	if line, column, what := unprintable(data); what != "" {
		return nil, at(line, column, "%s: a document is plain UTF-8 text", what)
	}
	decoder := yaml.NewDecoder(bytes.NewReader(data))
	var root, more yaml.Node
	err := decoder.Decode(&root)
	switch {
	case errors.Is(err, io.EOF):
		return nil, at(0, 0, "the document is empty")
	case err != nil:
		line, text := yamlError(err)
		return nil, at(line, 1, "%s", text)
	}
	if faults := refuse(file, &root, 0); len(faults) > 0 {
		return nil, faults
	}
	if err := decoder.Decode(&more); !errors.Is(err, io.EOF) {
		if err != nil {
			line, text := yamlError(err)
			return nil, at(line, 1, "%s", text)
		}
		return nil, at(more.Line, more.Column, "a second document begins here; one file holds one document")
	}
	if len(root.Content) != 1 {
		return nil, at(0, 0, "the document is empty")
	}
	return root.Content[0], nil
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

// refuse finds what no document may contain, at any depth. It never follows
// aliases, so that a few lines cannot expand to a million.
func refuse(file string, n *yaml.Node, depth int) Faults {
	fault := func(text string) Faults { return Faults{{file, n.Line, n.Column, text}} }
	switch {
	case depth > deepest+1: // the document itself is a node
		return fault(fmt.Sprintf("nested more than %d levels deep", deepest))
	case n.Kind == yaml.AliasNode:
		return fault("an alias: write its value out here")
	case n.Anchor != "":
		return fault("an anchor: write its value out in each place")
	case n.Style&yaml.TaggedStyle != 0:
		return fault("a tag: delete it")
	}
	var faults Faults
	for _, c := range n.Content {
		faults = append(faults, refuse(file, c, depth+1)...)
		if len(faults) > 20 {
			break
		}
	}
	return faults
}
