package book

import (
	"fmt"
	"io"
	"reflect"
	"strings"
	"text/template/parse"

	"fettle/workflow"
)

// What is written as it is: HTML, and what stands in a style or a tag.
type safe string

// A sheet is a layout that is filled in. The language is that of the standard library's
// templates, and so is its parser. Its own evaluator is not used because it may call every
// method by name, so that the linker keeps all methods of the program: 3 MB. This one
// reads fields and calls the functions that it was given, and knows two contexts alone,
// text and quoted attributes, which are escaped alike.
type sheet struct {
	out   io.Writer
	trees map[string]*parse.Tree
	calls map[string]any
	vars  []variable
}

type variable struct {
	name  string
	value reflect.Value
}

// fill writes a layout with what it shows.
func fill(out io.Writer, layout string, calls map[string]any, shown any) error {
	trees, err := parse.Parse("book", layout, "", "", calls)
	if err != nil {
		return fmt.Errorf("reading the layout of the book: %w", err)
	}
	s := &sheet{out: out, trees: trees, calls: calls}
	return s.tree("book", reflect.ValueOf(shown))
}

func (s *sheet) tree(name string, dot reflect.Value) error {
	t := s.trees[name]
	if t == nil {
		return fmt.Errorf("no part %s", name)
	}
	kept := s.vars
	s.vars = []variable{{"$", dot}}
	defer func() { s.vars = kept }()
	return s.list(t.Root, dot)
}

func (s *sheet) list(list *parse.ListNode, dot reflect.Value) error {
	if list == nil {
		return nil
	}
	kept := len(s.vars)
	defer func() { s.vars = s.vars[:kept] }()
	for _, n := range list.Nodes {
		if err := s.node(n, dot); err != nil {
			return err
		}
	}
	return nil
}

func (s *sheet) node(n parse.Node, dot reflect.Value) error {
	switch n := n.(type) {
	case *parse.TextNode:
		_, err := s.out.Write(n.Text)
		return err
	case *parse.ActionNode:
		v, err := s.pipe(n.Pipe, dot)
		if err != nil || len(n.Pipe.Decl) > 0 {
			return err
		}
		_, err = io.WriteString(s.out, written(v))
		return err
	case *parse.IfNode:
		return s.choose(&n.BranchNode, dot, false)
	case *parse.WithNode:
		return s.choose(&n.BranchNode, dot, true)
	case *parse.RangeNode:
		return s.each(n, dot)
	case *parse.TemplateNode:
		v, err := s.pipe(n.Pipe, dot)
		if err != nil {
			return err
		}
		return s.tree(n.Name, v)
	}
	return fmt.Errorf("%T in the layout of the book", n)
}

func (s *sheet) choose(n *parse.BranchNode, dot reflect.Value, within bool) error {
	kept := len(s.vars)
	defer func() { s.vars = s.vars[:kept] }()
	v, err := s.pipe(n.Pipe, dot)
	switch {
	case err != nil:
		return err
	case !truth(v):
		return s.list(n.ElseList, dot)
	case within:
		dot = v
	}
	return s.list(n.List, dot)
}

func (s *sheet) each(n *parse.RangeNode, dot reflect.Value) error {
	kept := len(s.vars)
	defer func() { s.vars = s.vars[:kept] }()
	decl := n.Pipe.Decl
	bare := *n.Pipe
	bare.Decl = nil
	all, err := s.pipe(&bare, dot)
	if err != nil {
		return err
	}
	if all.Kind() != reflect.Slice {
		return fmt.Errorf("%s is not a slice", n.Pipe)
	}
	if all.Len() == 0 {
		return s.list(n.ElseList, dot)
	}
	for i := range all.Len() {
		s.vars = s.vars[:kept]
		if len(decl) > 1 {
			s.vars = append(s.vars, variable{decl[0].Ident[0], reflect.ValueOf(i)})
		}
		if len(decl) > 0 {
			s.vars = append(s.vars, variable{decl[len(decl)-1].Ident[0], all.Index(i)})
		}
		if err := s.list(n.List, all.Index(i)); err != nil {
			return err
		}
	}
	return nil
}

func (s *sheet) pipe(p *parse.PipeNode, dot reflect.Value) (reflect.Value, error) {
	if p == nil {
		return reflect.Value{}, nil
	}
	if len(p.Cmds) != 1 || p.IsAssign {
		return reflect.Value{}, fmt.Errorf("%s in the layout of the book", p)
	}
	v, err := s.command(p.Cmds[0].Args, dot)
	for _, d := range p.Decl {
		s.vars = append(s.vars, variable{d.Ident[0], v})
	}
	return v, err
}

func (s *sheet) command(args []parse.Node, dot reflect.Value) (reflect.Value, error) {
	call, ok := args[0].(*parse.IdentifierNode)
	if !ok {
		if len(args) > 1 {
			return reflect.Value{}, fmt.Errorf("%s has arguments", args[0])
		}
		return s.value(args[0], dot)
	}
	var in []reflect.Value
	of := reflect.TypeOf(s.calls[call.Ident])
	for i, a := range args[1:] {
		v, err := s.value(a, dot)
		if err != nil {
			return v, err
		}
		if !v.IsValid() {
			return v, fmt.Errorf("nothing for %s", call.Ident)
		}
		if i < of.NumIn() && !of.IsVariadic() && v.Type() != of.In(i) && v.CanConvert(of.In(i)) {
			v = v.Convert(of.In(i))
		}
		in = append(in, v)
	}
	if !of.IsVariadic() && len(in) != of.NumIn() {
		return reflect.Value{}, fmt.Errorf("%s takes %d arguments", call.Ident, of.NumIn())
	}
	v := reflect.ValueOf(s.calls[call.Ident]).Call(in)[0]
	if v.Kind() == reflect.Interface {
		v = v.Elem()
	}
	return v, nil
}

func (s *sheet) value(n parse.Node, dot reflect.Value) (reflect.Value, error) {
	switch n := n.(type) {
	case *parse.DotNode:
		return dot, nil
	case *parse.FieldNode:
		return fields(dot, n.Ident)
	case *parse.VariableNode:
		for i := len(s.vars) - 1; i >= 0; i-- {
			if s.vars[i].name == n.Ident[0] {
				return fields(s.vars[i].value, n.Ident[1:])
			}
		}
	case *parse.PipeNode:
		return s.pipe(n, dot)
	case *parse.ChainNode:
		v, err := s.value(n.Node, dot)
		if err != nil {
			return v, err
		}
		return fields(v, n.Field)
	case *parse.StringNode:
		return reflect.ValueOf(n.Text), nil
	case *parse.NumberNode:
		return reflect.ValueOf(n.Int64), nil
	case *parse.IdentifierNode:
		return s.command([]parse.Node{n}, dot)
	}
	return reflect.Value{}, fmt.Errorf("%s in the layout of the book", n)
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
