package procedures

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"gopkg.in/yaml.v3"
)

// compiled is the schema as another program reads it; that it compiles says that
// it is one, by the metaschema of its draft.
var compiled = sync.OnceValues(func() (*jsonschema.Schema, error) {
	data, err := Schema()
	if err != nil {
		return nil, err
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("fettle.json", doc); err != nil {
		return nil, err
	}
	return c.Compile("fettle.json")
})

// asJSON is YAML as an editor hands it to a schema: a plain number is a number,
// true a switch, and a key is text.
func asJSON(t testing.TB, n *yaml.Node) any {
	t.Helper()
	switch n.Kind {
	case yaml.DocumentNode:
		return asJSON(t, n.Content[0])
	case yaml.MappingNode:
		m := map[string]any{}
		for i := 0; i < len(n.Content); i += 2 {
			m[n.Content[i].Value] = asJSON(t, n.Content[i+1])
		}
		return m
	case yaml.SequenceNode:
		list := []any{}
		for _, item := range n.Content {
			list = append(list, asJSON(t, item))
		}
		return list
	}
	var v any
	if err := n.Decode(&v); err != nil {
		t.Fatal(err)
	}
	if i, ok := v.(int); ok {
		return float64(i)
	}
	if _, ok := v.(string); !ok && v != nil && n.Tag == "!!timestamp" {
		return n.Value
	}
	return v
}

// refused is why the schema refuses a text; nil: it does not.
func refused(t testing.TB, text string) error {
	t.Helper()
	s, err := compiled()
	if err != nil {
		t.Fatal(err)
	}
	var root yaml.Node
	if err := yaml.Unmarshal([]byte(text), &root); err != nil || root.Kind == 0 {
		t.Fatalf("it is not YAML: %v", err)
	}
	return s.Validate(asJSON(t, &root))
}

func TestSchemaTakesWhatIsInOrder(t *testing.T) {
	t.Parallel()
	n := 0
	for _, e := range shipped() {
		n++
		if err := refused(t, string(e.Document.Source)); err != nil {
			t.Errorf("%s: %v", e.Document.File, err)
		}
	}
	for of := range wholeSet() {
		n++
		if err := refused(t, of); err != nil {
			t.Errorf("%v\n%s", err, of)
		}
	}
	for _, f := range forms() {
		n++
		if err := refused(t, strings.Join(exampleOf(f.typ.keys), "\n")); err != nil {
			t.Errorf("the example of %s: %v", f.typ.what, err)
		}
	}
	pages, err := filepath.Glob("../cmd/internal/cli/help/*.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, block := range regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllStringSubmatch(string(text), -1) {
			n++
			_, err := Parse("x.yaml", []byte(block[1])) // some show what is wrong
			var faults Faults
			errors.As(err, &faults)
			agree(t, block[1], faults)
		}
	}
	if n < 48 {
		t.Errorf("%d documents", n)
	}
	// Every spelling and every short form.
	for _, text := range []string{
		"design: a\ntitle: 2026\nrevision: '1'\nzones: [a]\noptions: {x: X}\n",
		"design: a\ntitle: A\nrevision: 1\nzones: [a]\ngauges: {r: {title: R, resolution: 1 mm}}\ngates: {g: {title: G, between: 4 mm ± 1 mm, gauge: r, of: work, critical: Yes, with: [x, y]}}\n",
		"procedure: a\nkind: steps\ntitle: A\nrevision: 1\nstages:\n  - stage: s\n    each: {side: [left, 2]}\n    steps:\n      - {step: cut-<side>, do: D, caution: [C, D], disturbs: [<side>-wing], sets: {fan: on}, wait: 1 h}\n      - use: [safe/first, safe/<side>]\n",
	} {
		if err := refused(t, text); err != nil {
			t.Errorf("%v\n%s", err, text)
		}
	}
}

// structural are the faults that the schema finds too: keys, types, and what must
// be there. All others are of meaning, or of the text itself, and only a check
// finds them.
var structural = regexp.MustCompile(strings.Join([]string{
	`^unknown key `, ` is not a key of `, ` has no [a-z_]+(; write .*)?$`, ` has .* keep one of them`, ` needs one of `,
	` must be a mapping`, ` must be a list`, ` must be text, `, `is empty`, ` is an empty list`,
	` must be a whole number`, ` must be a number from`, ` must be yes`, ` must be "`, `must be two limits`, ` must be a share of a figure`, `must be a point of the plan`, `needs three corners`,
	`is not a name for .* like left-boom$`, ` has no unit`, // with words filled in it may be none
	`^use names a procedure and `, ` words; at most `, `^origin is written by the program`,
	`^a key must be a word`, ` must be a number with its unit, not a `, `parts the list, not the number`, `a pair must be`, `^unknown (kind|accepts|before|outcome|severity|phase|state of a joint|assumed) "`,
}, "|"))

// otherForm are faults of structure in one of two forms that a value may have: what
// is written has the structure of the other, and only a check knows what is meant.
var otherForm = regexp.MustCompile(
	`^unknown key "[^"]*" in the option ` + // it may be a choice and its answer
		`|^wait has no (joint|until)`) // it may be a wait of some time

// agree holds that the schema refuses a text with a fault of structure, and takes
// one whose faults are all of another sort.
func agree(t *testing.T, text string, faults Faults) {
	t.Helper()
	var root yaml.Node
	if yaml.Unmarshal([]byte(text), &root) != nil {
		return // it is no YAML, which every reader says
	}
	wanted := false
	for _, f := range faults {
		wanted = wanted || structural.MatchString(f.Text) && !otherForm.MatchString(f.Text)
	}
	if err := refused(t, text); wanted != (err != nil) {
		t.Errorf("structure is at fault: %v; the schema says: %v\n%v", wanted, err, faults)
	}
}
