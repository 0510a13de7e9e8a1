package procedures

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
)

// Schema is a JSON Schema (draft 2020-12) of every form of document, made from
// the tables of keys. It knows the structure of a document: its keys, the types of
// their values, and what must be there. What the words mean, and whether they fit
// each other, only a check can tell.
func Schema() ([]byte, error) {
	s := schemas{defs: schema{}}
	var all []any
	for _, f := range forms() {
		all = append(all, s.of(f.typ))
	}
	s.defs["steps"] = s.list((&stepsValue{}).typ().of)
	data, err := json.MarshalIndent(schema{
		"$schema":     "https://json-schema.org/draft/2020-12/schema",
		"title":       "A document of Fettle",
		"description": "A design sheet, a procedure or a triage table.",
		"oneOf":       all,
		"$defs":       s.defs,
	}, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("making the schema: %w", err)
	}
	return append(data, '\n'), nil
}

// A schema is an object of JSON Schema.
type schema = map[string]any

// schemas collects the mappings, each of which is written once.
type schemas struct{ defs schema }

// blankPattern is what stands for a word that is filled in later.
const blankPattern = `<[A-Za-z][a-z0-9]*(?:-[a-z0-9]+)*>`

// text is any scalar that is there: YAML takes some words for numbers and for
// switches, and a document takes them for words.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func text() schema {
	return schema{"anyOf": []any{schema{"type": "string", "pattern": `\S`}, schema{"type": "number"}, schema{"type": "boolean"}}}
}

// name is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func name() schema {
	part := `(?:[a-z0-9]|` + blankPattern + `)+`
	return schema{"anyOf": []any{schema{"type": "string", "pattern": `^` + part + `(?:-` + part + `)*$`}, schema{"type": "integer"}, schema{"type": "boolean"}}}
}

// amount has a unit, or a blank for one.
func amount() schema { return schema{"type": "string", "pattern": `[A-Za-zµ°%"'′″⌀<]`} }

// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func listOf(item any) schema { return schema{"type": "array", "items": item, "minItems": 1} }

//go:noinline
func anyOf(forms ...any) schema { return schema{"anyOf": forms} }

func byName(keys, values any) schema {
	return schema{"type": "object", "propertyNames": keys, "additionalProperties": values}
}

func ref(def string) schema { return schema{"$ref": "#/$defs/" + def} }

// of is the schema of a typ.
func (s schemas) of(t *typ) any {
	switch t.is {
	case aText, prose:
		return text()
	case texts:
		return anyOf(text(), listOf(text()))
	case aName:
		return name()
	case oneName:
		list := listOf(name())
		if t.none {
			delete(list, "minItems")
		}
		return anyOf(name(), list)
	case aWord:
		return schema{"enum": t.words}
	case oneWord:
		return anyOf(schema{"enum": t.words}, listOf(schema{"enum": t.words}))
	case aSwitch:
		return switched("yes", "no")
	case aYes:
		return switched("yes")
	case aWhole:
		return anyOf(schema{"type": "integer", "minimum": t.low, "maximum": t.high}, schema{"type": "string", "pattern": `^[0-9]+$`})
	case aNumber:
		return anyOf(schema{"type": "number", "minimum": t.low, "maximum": t.high}, schema{"type": "string", "pattern": `^[0-9][0-9./ ]*$`})
	case anAmount:
		return amount()
	case aRange:
		pair := listOf(amount())
		pair["minItems"], pair["maxItems"] = 2, 2
		return anyOf(amount(), pair)
	case aShare:
		return schema{"type": "string", "pattern": " of "}
	case aRate:
		return schema{"type": "string", "pattern": `^[ ]*[0-9.,]+[ ]*C$`}
	case aPlace, places, aLine:
		pair := listOf(amount())
		pair["minItems"], pair["maxItems"] = 2, 2
		if t.is == aPlace {
			return pair
		}
		several := listOf(pair)
		several["minItems"] = 3
		if t.is == aLine {
			several["minItems"], several["maxItems"] = 2, 2
		}
		return several
	case settings:
		return byName(name(), name())
	case pairs:
		pair := listOf(name())
		pair["minItems"], pair["maxItems"] = 2, 2
		return listOf(pair)
	case aMapping:
		return s.mapping(t)
	case aList:
		return s.list(t.of)
	case entries:
		return ref("steps")
	case wordLists:
		words := listOf(text())
		words["maxItems"] = mostWords
		return byName(name(), words)
	case used:
		one := schema{"type": "string", "pattern": "/."}
		return anyOf(one, listOf(one))
	case changes:
		return byName(schema{"pattern": `^[1-9][0-9]*$`}, text())
	case parts:
		return byName(text(), anyOf(schema{"type": "integer", "minimum": 1, "maximum": 10_000}, amount(), schema{"type": "string", "pattern": `^[0-9]+$`}))
	case aMap:
		return byName(name(), s.of(t.of[0]))
	case anEither:
		var forms []any
		for _, one := range t.of {
			forms = append(forms, s.of(one))
		}
		return anyOf(forms...)
	}
	return nil
}

// switched are the spellings of these switches.
func switched(words ...string) schema {
	var all []any
	for _, w := range words {
		is := w == "yes"
		other := map[bool]string{true: "true", false: "false"}[is]
		all = append(all, is)
		for _, w := range []string{w, other} {
			all = append(all, w, strings.ToUpper(w[:1])+w[1:], strings.ToUpper(w))
		}
	}
	return schema{"enum": all}
}

func (s schemas) list(of []*typ) schema {
	var items []any
	for _, one := range of {
		items = append(items, s.of(one))
	}
	if len(items) == 1 {
		return listOf(items[0])
	}
	return listOf(anyOf(items...))
}

// mapping is a reference to a definition by what the mapping is.
func (s schemas) mapping(t *typ) schema {
	properties, must := schema{}, []string{}
	var choices []any
	for _, r := range t.keys {
		switch r.need {
		case ours:
			continue
		case required:
			must = append(must, r.name)
		case choice:
			choices = append(choices, schema{"required": []string{r.name}})
		}
		value := s.of(r.typ)
		properties[r.name] = schema{"allOf": []any{value}, "description": r.help}
	}
	made := schema{"type": "object", "properties": properties, "additionalProperties": false}
	if len(must) > 0 {
		made["required"] = must
	}
	if len(choices) > 0 {
		if !t.one {
			choices = append(choices, schema{"not": anyOf(slices.Clone(choices)...)})
		}
		made["oneOf"] = choices
	}
	def := strings.ReplaceAll(strings.TrimPrefix(strings.TrimPrefix(t.what, "a "), "an "), " ", "-")
	for n := 2; s.defs[def] != nil && !reflect.DeepEqual(s.defs[def], made); n++ { // another that is called so
		def = fmt.Sprintf("%s-%d", strings.TrimSuffix(def, fmt.Sprintf("-%d", n-1)), n)
	}
	s.defs[def] = made
	return ref(def)
}
