package book

import (
	"fmt"
	"io"
	"reflect"
	"strings"

	"fettle/workflow"
)

// What is written as it is: HTML, and what stands in a style or a tag.
type safe string

// A sheet is a layout that is filled in. The language is a part of that of the standard
// library's templates, and a test holds what is filled in against theirs. Their evaluator is
// not used because it may call every method by name, so that the linker keeps all methods of
// the program: 3 MB; nor is their parser, of 170 KB. This one reads fields and calls the
// functions that it was given, and knows two contexts alone, text and quoted attributes, which
// are escaped alike.
type sheet struct {
	out   io.Writer
	parts map[string][]piece
	calls map[string]any
	vars  []variable
}

type variable struct {
	name  string
	value reflect.Value
}

// fill writes a layout with what it shows.
func fill(out io.Writer, layout string, calls map[string]any, shown any) error {
	r := layoutReader{rest: layout, calls: calls, named: map[string][]piece{}}
	book, ends, err := r.parts()
	if err == nil && len(ends) > 0 {
		err = fmt.Errorf("%q ends nothing", ends)
	}
	if err != nil {
		return fmt.Errorf("reading the layout of the book: %w", err)
	}
	s := &sheet{out: out, parts: r.named, calls: calls}
	return s.filled(book, reflect.ValueOf(shown))
}

// filled writes parts that have no variables but their own.
func (s *sheet) filled(parts []piece, dot reflect.Value) error {
	kept := s.vars
	s.vars = []variable{{"$", dot}}
	defer func() { s.vars = kept }()
	return s.list(parts, dot)
}

func (s *sheet) list(parts []piece, dot reflect.Value) error {
	kept := len(s.vars)
	defer func() { s.vars = s.vars[:kept] }()
	for _, p := range parts {
		if err := s.piece(p, dot); err != nil {
			return err
		}
	}
	return nil
}

func (s *sheet) piece(p piece, dot reflect.Value) error {
	if p.is == "" {
		_, err := io.WriteString(s.out, p.text)
		return err
	}
	kept := len(s.vars)
	v, err := s.value(p.of, dot)
	if err != nil {
		return err
	}
	if p.is == "range" {
		return s.each(p, v, dot)
	}
	for _, name := range p.vars {
		s.vars = append(s.vars, variable{name, v})
	}
	switch p.is {
	case "say":
		if len(p.vars) == 0 {
			_, err = io.WriteString(s.out, written(v))
		}
		return err
	case "template":
		parts, ok := s.parts[p.text]
		if !ok {
			return fmt.Errorf("no part %s", p.text)
		}
		return s.filled(parts, v)
	}
	defer func() { s.vars = s.vars[:kept] }()
	switch {
	case !truth(v):
		return s.list(p.otherwise, dot)
	case p.is == "with":
		dot = v
	}
	return s.list(p.then, dot)
}

func (s *sheet) each(p piece, all, dot reflect.Value) error {
	kept := len(s.vars)
	defer func() { s.vars = s.vars[:kept] }()
	if all.Kind() != reflect.Slice {
		return fmt.Errorf("%v is not a slice", p.of)
	}
	if all.Len() == 0 {
		return s.list(p.otherwise, dot)
	}
	for i := range all.Len() {
		s.vars = s.vars[:kept]
		if len(p.vars) > 1 {
			s.vars = append(s.vars, variable{p.vars[0], reflect.ValueOf(i)})
		}
		if len(p.vars) > 0 {
			s.vars = append(s.vars, variable{p.vars[len(p.vars)-1], all.Index(i)})
		}
		if err := s.list(p.then, all.Index(i)); err != nil {
			return err
		}
	}
	return nil
}

func (s *sheet) value(t operand, dot reflect.Value) (reflect.Value, error) {
	switch {
	case t.call != "":
		return s.call(t, dot)
	case t.fixed.IsValid(), t.of == "":
		return t.fixed, nil
	case t.of == ".":
		return fields(dot, t.fields)
	}
	for i := len(s.vars) - 1; i >= 0; i-- {
		if s.vars[i].name == t.of {
			return fields(s.vars[i].value, t.fields)
		}
	}
	return reflect.Value{}, fmt.Errorf("no variable %s in the layout of the book", t.of)
}

func (s *sheet) call(t operand, dot reflect.Value) (reflect.Value, error) {
	var in []reflect.Value
	of := reflect.TypeOf(s.calls[t.call])
	for i, a := range t.args {
		v, err := s.value(a, dot)
		if err != nil {
			return v, err
		}
		if !v.IsValid() {
			return v, fmt.Errorf("nothing for %s", t.call)
		}
		if i < of.NumIn() && !of.IsVariadic() && v.Type() != of.In(i) && v.CanConvert(of.In(i)) {
			v = v.Convert(of.In(i))
		}
		in = append(in, v)
	}
	if !of.IsVariadic() && len(in) != of.NumIn() {
		return reflect.Value{}, fmt.Errorf("%s takes %d arguments", t.call, of.NumIn())
	}
	v := reflect.ValueOf(s.calls[t.call]).Call(in)[0]
	if v.Kind() == reflect.Interface {
		v = v.Elem()
	}
	return v, nil
}

func fields(v reflect.Value, names []string) (reflect.Value, error) {
	for _, name := range names {
		for v.Kind() == reflect.Pointer && v.Elem().Kind() == reflect.Pointer || v.Kind() == reflect.Interface {
			v = v.Elem()
		}
		of := v
		if of.CanAddr() {
			of = of.Addr()
		}
		if of.IsValid() && of.CanInterface() {
			if answer := asked(of.Interface(), name); answer != nil {
				v = reflect.ValueOf(answer)
				continue
			}
		}
		if v.Kind() == reflect.Pointer {
			v = v.Elem()
		}
		if v.Kind() != reflect.Struct || !v.FieldByName(name).IsValid() {
			return v, fmt.Errorf("the layout of the book asks for %s of %v", name, v.Kind())
		}
		v = v.FieldByName(name)
	}
	return v, nil
}

// asked is what a value answers, of what the layout asks for that is no field; nil: it
// answers nothing.
func asked(v any, name string) any {
	switch name {
	case "Found":
		if v, ok := v.(interface{ Found() string }); ok {
			return v.Found()
		}
	case "IsZero":
		if v, ok := v.(interface{ IsZero() bool }); ok {
			return v.IsZero()
		}
	case "Label":
		if v, ok := v.(interface{ Label() string }); ok {
			return v.Label()
		}
	case "Late":
		if v, ok := v.(interface{ Late() bool }); ok {
			return v.Late()
		}
	case "Line":
		if v, ok := v.(interface{ Line() string }); ok {
			return v.Line()
		}
	case "Missing":
		if v, ok := v.(interface{ Missing() int }); ok {
			return v.Missing()
		}
	case "Typed":
		if v, ok := v.(interface{ Typed() string }); ok {
			return v.Typed()
		}
	case "Words":
		if v, ok := v.(interface{ Words() string }); ok {
			return v.Words()
		}
	case "Says":
		switch v := v.(type) {
		case interface{ Says() string }:
			return v.Says()
		case interface{ Says() workflow.Cause }:
			return v.Says()
		}
	}
	return nil
}

// basics are the functions of the language.
func basics() map[string]any {
	first := func(when bool) func(...any) any {
		return func(all ...any) any {
			for _, v := range all {
				if truth(reflect.ValueOf(v)) == when {
					return v
				}
			}
			return all[len(all)-1]
		}
	}
	return map[string]any{
		"or": first(true), "and": first(false),
		"not": func(v any) bool { return !truth(reflect.ValueOf(v)) },
		"eq":  func(a, b any) bool { return fmt.Sprint(a) == fmt.Sprint(b) },
		"ge":  func(a, b int64) bool { return a >= b },
		"len": func(v any) int { return reflect.ValueOf(v).Len() },
	}
}

// truth is whether there is something: not false, none, empty or nothing.
func truth(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Invalid:
		return false
	case reflect.Slice, reflect.Map, reflect.String:
		return v.Len() > 0
	case reflect.Struct:
		return true
	}
	return !v.IsZero()
}

// written is a value in text or in a quoted attribute.
func written(v reflect.Value) string {
	if !v.IsValid() {
		return ""
	}
	if s, ok := v.Interface().(safe); ok {
		return string(s)
	}
	return escaper.Replace(fmt.Sprint(v.Interface()))
}

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&#34;", "'", "&#39;", "+", "&#43;", "\x00", "\uFFFD")
