package markup

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"io"
	"reflect"
	"text/template/parse"
)

// Fill writes the page with data. Nothing is written if anything is wrong: a field that is not there, a value that a function does not take.
func (p *Page) Fill(to io.Writer, data any) error {
	f := filling{page: p}
	if err := f.part(p.name, reflect.ValueOf(data)); err != nil {
		return fmt.Errorf("markup: filling %s: %w", p.name, err)
	}
	_, err := to.Write(f.to.Bytes())
	return err
}

// filling is one page being filled.
type filling struct {
	page *Page
	to   bytes.Buffer
	vars []variable // innermost last
}

type variable struct {
	name  string
	value reflect.Value
}

func (f *filling) part(name string, dot reflect.Value) error {
	tree := f.page.trees[name]
	if tree == nil {
		return fmt.Errorf("there is no part %q", name)
	}
	outer := f.vars
	f.vars = []variable{{"$", dot}}
	err := f.list(tree.Root, dot)
	f.vars = outer
	return err
}

func (f *filling) list(l *parse.ListNode, dot reflect.Value) error {
	if l == nil {
		return nil
	}
	known := len(f.vars)
	for _, n := range l.Nodes {
		if err := f.node(n, dot); err != nil {
			return err
		}
	}
	f.vars = f.vars[:known]
	return nil
}

func (f *filling) node(n parse.Node, dot reflect.Value) error {
	switch n := n.(type) {
	case *parse.TextNode:
		f.to.Write(n.Text)
		return nil
	case *parse.ActionNode:
		v, err := f.pipe(n.Pipe, dot)
		if err != nil || len(n.Pipe.Decl) > 0 {
			return err
		}
		f.print(v)
		return nil
	case *parse.IfNode:
		return f.choose(n.Pipe, n.List, n.ElseList, dot, false)
	case *parse.WithNode:
		return f.choose(n.Pipe, n.List, n.ElseList, dot, true)
	case *parse.RangeNode:
		return f.each(n, dot)
	case *parse.TemplateNode:
		v, err := f.pipe(n.Pipe, dot)
		if err != nil {
			return err
		}
		return f.part(n.Name, v)
	}
	return fmt.Errorf("%s is not known here", n)
}

func (f *filling) choose(pipe *parse.PipeNode, yes, no *parse.ListNode, dot reflect.Value, with bool) error {
	known := len(f.vars)
	v, err := f.pipe(pipe, dot)
	if err != nil {
		return err
	}
	switch {
	case !truth(v):
		err = f.list(no, dot)
	case with:
		err = f.list(yes, v)
	default:
		err = f.list(yes, dot)
	}
	f.vars = f.vars[:known]
	return err
}

func (f *filling) each(n *parse.RangeNode, dot reflect.Value) error {
	known := len(f.vars)
	all, err := f.evaluate(n.Pipe, dot)
	if err != nil {
		return err
	}
	if all = direct(all); !all.IsValid() || all.Kind() != reflect.Slice && all.Kind() != reflect.Array {
		if all.IsValid() {
			return fmt.Errorf("%s is no list", n.Pipe)
		}
		return f.list(n.ElseList, dot)
	}
	if all.Len() == 0 {
		return f.list(n.ElseList, dot)
	}
	for i := range all.Len() {
		switch d := n.Pipe.Decl; len(d) {
		case 1:
			f.vars = append(f.vars, variable{d[0].Ident[0], all.Index(i)})
		case 2:
			f.vars = append(f.vars, variable{d[0].Ident[0], reflect.ValueOf(i)}, variable{d[1].Ident[0], all.Index(i)})
		}
		if err := f.list(n.List, all.Index(i)); err != nil {
			return err
		}
		f.vars = f.vars[:known]
	}
	return nil
}

// pipe gives a value, and keeps it under the name that the text gives it.
func (f *filling) pipe(p *parse.PipeNode, dot reflect.Value) (reflect.Value, error) {
	v, err := f.evaluate(p, dot)
	if err == nil && p != nil && len(p.Decl) == 1 {
		f.vars = append(f.vars, variable{p.Decl[0].Ident[0], v})
	}
	return v, err
}

func (f *filling) evaluate(p *parse.PipeNode, dot reflect.Value) (reflect.Value, error) {
	if p == nil {
		return reflect.Value{}, nil
	}
	if len(p.Cmds) != 1 || p.IsAssign {
		return reflect.Value{}, fmt.Errorf("%s: pipes and assignments are not known here", p)
	}
	args := p.Cmds[0].Args
	if name, is := args[0].(*parse.IdentifierNode); is {
		return f.call(name.Ident, args[1:], dot)
	}
	if len(args) > 1 {
		return reflect.Value{}, fmt.Errorf("%s is no function", args[0])
	}
	return f.argument(args[0], dot)
}

func (f *filling) argument(n parse.Node, dot reflect.Value) (reflect.Value, error) {
	switch n := n.(type) {
	case *parse.DotNode:
		return dot, nil
	case *parse.FieldNode:
		return fields(dot, n.Ident)
	case *parse.VariableNode:
		for i := len(f.vars) - 1; i >= 0; i-- {
			if f.vars[i].name == n.Ident[0] {
				return fields(f.vars[i].value, n.Ident[1:])
			}
		}
	case *parse.PipeNode:
		return f.evaluate(n, dot)
	case *parse.IdentifierNode:
		return f.call(n.Ident, nil, dot)
	case *parse.StringNode:
		return reflect.ValueOf(n.Text), nil
	case *parse.BoolNode:
		return reflect.ValueOf(n.True), nil
	case *parse.NumberNode:
		if n.IsInt {
			return reflect.ValueOf(int(n.Int64)), nil
		}
		return reflect.ValueOf(n.Float64), nil
	}
	return reflect.Value{}, fmt.Errorf("%s is not known here", n)
}

// fields follows names from a value through structs and what they point to.
func fields(v reflect.Value, names []string) (reflect.Value, error) {
	for _, name := range names {
		from := direct(v)
		if !from.IsValid() || from.Kind() != reflect.Struct {
			return v, fmt.Errorf("%s is asked of what has no fields", name)
		}
		field, is := from.Type().FieldByName(name)
		if !is || !field.IsExported() {
			return v, fmt.Errorf("%s has no field %s", from.Type(), name)
		}
		next, err := from.FieldByIndexErr(field.Index)
		if err != nil {
			return v, err
		}
		v = next
	}
	return v, nil
}

// direct follows pointers and interfaces to their end; the zero Value for nil.
func direct(v reflect.Value) reflect.Value {
	for v.IsValid() && (v.Kind() == reflect.Pointer || v.Kind() == reflect.Interface) {
		v = v.Elem()
	}
	return v
}

// print writes a value, escaped.
func (f *filling) print(v reflect.Value) {
	if v.IsValid() && v.Kind() == reflect.Interface {
		v = v.Elem()
	}
	if !v.IsValid() {
		return
	}
	switch text := v.Interface().(type) {
	case Safe:
		f.to.WriteString(string(text))
		return
	case fmt.Stringer, error:
	default:
		if v = direct(v); !v.IsValid() {
			return
		}
	}
	f.to.WriteString(html.EscapeString(fmt.Sprint(v.Interface())))
}

var errOneValue = errors.New("a function gives one value")

// call calls a function of the page.
func (f *filling) call(name string, args []parse.Node, dot reflect.Value) (reflect.Value, error) {
	if name == "and" || name == "or" {
		return f.firstThat(name == "or", args, dot)
	}
	values := make([]reflect.Value, len(args))
	for i, a := range args {
		v, err := f.argument(a, dot)
		if err != nil {
			return v, err
		}
		values[i] = v
	}
	if b, is := builtins[name].(func([]reflect.Value) (reflect.Value, error)); is {
		v, err := b(values)
		if err != nil {
			err = fmt.Errorf("%s: %w", name, err)
		}
		return v, err
	}
	return invoke(name, reflect.ValueOf(f.page.funcs[name]), values)
}

// invoke calls any function, once every value fits.
func invoke(name string, fn reflect.Value, values []reflect.Value) (reflect.Value, error) {
	if fn.Kind() != reflect.Func || fn.IsNil() {
		return fn, fmt.Errorf("%s is no function", name)
	}
	t := fn.Type()
	if t.NumOut() != 1 || t.IsVariadic() {
		return fn, errOneValue
	}
	if t.NumIn() != len(values) {
		return fn, fmt.Errorf("%s takes %d values, not %d", name, t.NumIn(), len(values))
	}
	for i := range values {
		v := values[i]
		if v.IsValid() && v.Kind() == reflect.Interface {
			v = v.Elem()
		}
		in := t.In(i)
		switch {
		case v.IsValid() && v.Type().AssignableTo(in):
		case v.IsValid() && v.Kind() == reflect.Int && in.Kind() == reflect.Float64: // a whole number in the text
			v = v.Convert(in)
		case v.IsValid() && v.Kind() == reflect.Pointer && !v.IsNil() && v.Type().Elem().AssignableTo(in):
			v = v.Elem()
		default:
			return fn, fmt.Errorf("value %d of %s does not fit: it takes a %s", i+1, name, in)
		}
		values[i] = v
	}
	return fn.Call(values)[0], nil
}

// firstThat gives the first value that is true, or false for and; else the last. What comes after is not looked at.
func (f *filling) firstThat(is bool, args []parse.Node, dot reflect.Value) (v reflect.Value, err error) {
	for _, a := range args {
		if v, err = f.argument(a, dot); err != nil || truth(v) == is {
			return v, err
		}
	}
	return v, nil
}
