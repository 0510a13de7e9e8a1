package procedures

import "gopkg.in/yaml.v3"

// A node is one of a document's texts, lists and mappings, with where it begins. It is what a yaml.Node is, with what is asked
// for here alone, at under half the size: a build has some 9,000, and the room that they take is a tenth of what it costs to read it.
type node struct {
	Kind         nodeKind
	Style        nodeStyle
	Tag          nodeTag
	Line, Column int32 // from 1; 0: it was not read
	Value        string
	Content      []*node // of a mapping: each key, and its value after it
	Comment      *string // behind it in its line; nil: none, or not known
}

type nodeKind uint8

const (
	textNode nodeKind = iota + 1
	listNode
	mappingNode
	documentNode
	aliasNode
)

// A nodeStyle is how a node is written; 0: a text without quotes, or a list or mapping in block style.
type nodeStyle uint8

const (
	flowStyle nodeStyle = 1 << iota
	quotedStyle
	blockStyle // a text below a |, or a >
	taggedStyle
	anchoredStyle
)

// A nodeTag is what YAML takes a text for.
type nodeTag uint8

const (
	otherTag nodeTag = iota // a number, a switch, a day
	nullTag
	stringTag
)

// nodeOf is a node of package yaml, with what is below it. What an alias stands for is not below it.
func nodeOf(y *yaml.Node) *node {
	n := &node{Line: int32(y.Line), Column: int32(y.Column), Value: y.Value}
	switch y.Kind {
	case yaml.MappingNode:
		n.Kind = mappingNode
	case yaml.SequenceNode:
		n.Kind = listNode
	case yaml.DocumentNode:
		n.Kind = documentNode
	case yaml.AliasNode:
		n.Kind = aliasNode
	default:
		n.Kind, n.Tag = textNode, tagOf(y)
	}
	for _, in := range [...]struct {
		of yaml.Style
		is nodeStyle
	}{{yaml.FlowStyle, flowStyle}, {yaml.SingleQuotedStyle | yaml.DoubleQuotedStyle, quotedStyle}, {yaml.LiteralStyle | yaml.FoldedStyle, blockStyle}, {yaml.TaggedStyle, taggedStyle}} {
		if y.Style&in.of != 0 {
			n.Style |= in.is
		}
	}
	if y.Anchor != "" {
		n.Style |= anchoredStyle
	}
	if comment := y.LineComment; comment != "" {
		n.Comment = &comment // and not of y, which it would keep
	}
	for _, below := range y.Content {
		n.Content = append(n.Content, nodeOf(below))
	}
	return n
}

// tagOf is what package yaml takes a text for.
func tagOf(y *yaml.Node) nodeTag {
	switch y.ShortTag() {
	case "!!null":
		return nullTag
	case "!!str":
		return stringTag
	}
	return otherTag
}

// toWrite is the node as package yaml writes it.
func (n *node) toWrite() *yaml.Node {
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
		y.Content = append(y.Content, below.toWrite())
	}
	return y
}
