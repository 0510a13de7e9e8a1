package procedures

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
	"pgregory.net/rapid"
)

// ofYAML is a node as package yaml writes it.
func ofYAML(t interface{ Fatal(...any) }, n *node) string {
	var to func(*node) *yaml.Node
	to = func(n *node) *yaml.Node {
		y := &yaml.Node{Value: n.Value}
		switch n.Kind {
		case mappingNode:
			y.Kind = yaml.MappingNode
		case listNode:
			y.Kind = yaml.SequenceNode
		default:
			y.Kind = yaml.ScalarNode
			if n.Tag == stringTag {
				y.SetString(n.Value)
			}
		}
		if n.Style&flowStyle != 0 {
			y.Style = yaml.FlowStyle
		}
		for _, below := range n.Content {
			y.Content = append(y.Content, to(below))
		}
		return y
	}
	var b bytes.Buffer
	e := yaml.NewEncoder(&b)
	e.SetIndent(2)
	if err := e.Encode(to(n)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func penned(n *node) string {
	var p pen
	p.node(n, 0, true, false)
	p.line(0)
	return string(p.out)
}

// textsToWrite draws texts of what YAML reads otherwise in some places, of words and of any characters. It has none that begins with
// an empty line, which package yaml loses, and none with the separators of lines and paragraphs, which it writes unescaped.
func textsToWrite() *rapid.Generator[string] {
	part := rapid.OneOf(
		rapid.SampledFrom(strings.Split("a|b|1|0x1F|true|yes|no|~|null|2001-01-02|1.5|12:30|.inf|<<|-|--|---|...|:|?|#|,|[|]|{|}|&|*|!|>|'|\"|%|@|`|\\|=| |  |\t|\n|\n\n|é|°|\u00a0|\u0085|\ufeff|\ufffd|\x00|\x07|\x1b|\x7f|😀", "|")),
		rapid.SampledFrom([]string{"foam", "the spar: 3 mm", "done # so", "- it", "|"}),
		rapid.StringN(0, 3, -1),
	)
	return rapid.Custom(func(t *rapid.T) string {
		text := strings.Join(rapid.SliceOfN(part, 0, 5).Draw(t, "parts"), "")
		if rapid.IntRange(0, 9).Draw(t, "long") == 0 {
			text += strings.Repeat("x", 126)
		}
		return text
	}).Filter(func(s string) bool {
		return utf8.ValidString(s) && !strings.HasPrefix(s, "\n") && !strings.HasPrefix(s, "\ufeff") && !strings.ContainsAny(s, "\u2028\u2029")
	})
}

// nodesToWrite draws what a document may be written as, with lists and mappings of so many levels.
func nodesToWrite(levels int) *rapid.Generator[*node] {
	return rapid.Custom(func(t *rapid.T) *node {
		kind := textNode
		if levels > 0 {
			kind = rapid.SampledFrom([]nodeKind{textNode, listNode, mappingNode, mappingNode}).Draw(t, "kind")
		}
		n := &node{Kind: kind}
		if kind == textNode {
			n.Value = textsToWrite().Draw(t, "text")
			if rapid.Bool().Draw(t, "string") {
				n.Tag = stringTag
			}
			return n
		}
		if rapid.IntRange(0, 3).Draw(t, "flow") == 0 {
			n.Style = flowStyle
		}
		for range rapid.IntRange(0, 3).Draw(t, "items") {
			if kind == mappingNode {
				n.Content = append(n.Content, scalar(textsToWrite().Draw(t, "key")))
			}
			n.Content = append(n.Content, nodesToWrite(levels-1).Draw(t, "item"))
		}
		return n
	})
}

// What is written is what package yaml writes.
func TestPen(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := &node{Kind: mappingNode, Content: []*node{scalar("name"), nodesToWrite(3).Draw(t, "node"), scalar("end"), nodesToWrite(1).Draw(t, "end")}}
		if got, want := penned(n), ofYAML(t, n); got != want {
			t.Errorf("written is\n%q\nand package yaml writes\n%q", got, want)
		}
	})
}

// Texts of any characters are read as they were written.
func TestPenIsRead(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"\na", "\n\na\n", "\n", "a\u2028b", "\u2029", "\ufeffa", "a\n\u2028\n", " a\n b\n", "a \nb", "", "\t", "a\r\nb"} {
		var got struct{ A, B string }
		n := &node{Kind: mappingNode, Content: []*node{scalar("a"), scalar(text), scalar("b"), scalar("end")}}
		if err := yaml.Unmarshal([]byte(penned(n)), &got); err != nil || got.A != text || got.B != "end" {
			t.Errorf("%q is read as %q, %v of\n%s", text, got, err, penned(n))
		}
	}
}

// Every document of the library is written as package yaml writes it.
func TestPenOfLibrary(t *testing.T) {
	t.Parallel()
	for _, e := range shipped() {
		n := &node{}
		switch d := e.Document; {
		case d.Procedure != nil:
			n = procedureKeys().write(d.Procedure)
		case d.Sheet != nil:
			n = sheetKeys().write(d.Sheet)
		default:
			n = triageKeys().write(d.Triage)
		}
		if got, want := penned(n), ofYAML(t, n); got != want {
			t.Errorf("%s is written as\n%s\nand package yaml writes\n%s", e.Document.Name(), got, want)
		}
	}
}
