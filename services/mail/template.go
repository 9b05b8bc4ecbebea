package mail

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"text/template"
	"text/template/parse"

	"github.com/longlead/longlead/services/apperr"
)

// Template is the text of a kind of letter. Both parts may hold {{.field}}, {{if .field}} … {{else}} … {{end}} and, in the body,
// {{range .list}} … {{.}} … {{end}}; nothing else of Go's templates. In the body a blank line separates paragraphs, a line that begins with
// "# " is a heading, one that begins with "- " belongs to a list, and an address that begins with https:// becomes a link.
type Template struct {
	Subject string
	Body    string
}

// longestTemplate is how many bytes a template may have.
const longestTemplate = 20_000

// longestSubject is how many characters a subject may have once it is filled in; what is longer is cut. Programs show less.
const longestSubject = 150

// SplitTemplate reads a template from one text: a line "Subject: …", a blank line, the body.
func SplitTemplate(content string) (Template, error) {
	content = strings.TrimPrefix(strings.ReplaceAll(content, "\r\n", "\n"), "\uFEFF")
	first, body, _ := strings.Cut(content, "\n")
	subject, ok := strings.CutPrefix(first, "Subject:")
	if !ok {
		return Template{}, apperr.InvalidField("template", "must begin with the subject", "write \"Subject: \" and the subject in the first line, then a blank line and the text")
	}
	return Template{Subject: strings.TrimSpace(subject), Body: strings.Trim(body, "\n") + "\n"}, nil
}

// String is what SplitTemplate reads.
func (t Template) String() string { return "Subject: " + t.Subject + "\n\n" + t.Body }

// Check refuses a template that could not be filled in: it names the field, the rule and the remedy. It fills it in with example values as well,
// with and without those that a letter may lack.
func (t Template) Check(kind KindInfo) error {
	if len(t.Subject)+len(t.Body) > longestTemplate {
		return apperr.InvalidField("template", fmt.Sprintf("must not have more than %d bytes", longestTemplate), "shorten it")
	}
	if strings.ContainsAny(t.Subject, "\r\n") {
		return apperr.InvalidField("subject", "must be one line", "join its lines")
	}
	c, err := t.compile(kind)
	if err != nil {
		return err
	}
	for _, full := range []bool{true, false} {
		words, err := c.fill(exampleOf(kind, full))
		if err != nil {
			return err
		}
		if words.subject == "" {
			return apperr.InvalidField("subject", "must not be empty, whatever a letter lacks", "write words that are always there")
		}
		if strings.TrimSpace(words.text) == "" {
			return apperr.InvalidField("body", "must not be empty, whatever a letter lacks", "write words that are always there")
		}
	}
	return nil
}

// values are what a template is filled in with: a string or a []string for every field of the kind.
type values map[string]any

// exampleOf are the example values of a kind; those that a letter may lack are absent unless full.
func exampleOf(kind KindInfo, full bool) values {
	v := values{}
	for _, f := range kind.Fields {
		switch there := full || f.Required || f.Own; {
		case f.List && there:
			v[f.Name] = f.Example
		case f.List:
			v[f.Name] = []string(nil)
		case there:
			v[f.Name] = f.Example[0]
		default:
			v[f.Name] = ""
		}
	}
	return v
}

// words are a letter's words.
type words struct{ subject, text, html string }

// compiled is a template that is ready to be filled in, any number of times.
type compiled struct {
	kind          Kind
	subject, body *template.Template
}

// compile reads a template and holds it against what the kind has.
func (t Template) compile(kind KindInfo) (*compiled, error) {
	c := &compiled{kind: kind.Kind}
	for _, part := range []struct {
		name, content string
		to            **template.Template
	}{{"subject", t.Subject, &c.subject}, {"body", t.Body, &c.body}} {
		tree, err := parsePart(part.name, part.content, kind)
		if err != nil {
			return nil, err
		}
		if *part.to, err = template.New(part.name).AddParseTree(part.name, tree); err != nil {
			return nil, fmt.Errorf("read the %s of letters of the kind %s: %w", part.name, kind.Kind, err)
		}
	}
	return c, nil
}

// fill fills a template in.
func (c *compiled) fill(v values) (words, error) {
	var subject, body strings.Builder
	if err := errors.Join(c.subject.Execute(&subject, map[string]any(v)), c.body.Execute(&body, map[string]any(v))); err != nil {
		return words{}, fmt.Errorf("fill in a letter of the kind %s: %w", c.kind, err)
	}
	line := shortened(oneLine(subject.String()), longestSubject)
	blocks := parseBlocks(body.String())
	return words{subject: line, text: writeText(blocks), html: writeHTML(line, blocks)}, nil
}

// shortened cuts a text that has more than most characters.
func shortened(text string, most int) string {
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most-1]) + "…"
	}
	return text
}

// parsePart reads a part of a template and holds it against what a template may hold.
func parsePart(name, content string, kind KindInfo) (*parse.Tree, error) {
	trees, err := parse.Parse(name, content, "{{", "}}", map[string]any{})
	if err != nil {
		return nil, apperr.InvalidField(name, "cannot be read: "+strings.TrimPrefix(err.Error(), "template: "),
			"write {{.field}}, {{if .field}}…{{else}}…{{end}} or {{range .list}}…{{.}}…{{end}}")
	}
	tree := trees[name]
	if len(trees) > 1 {
		return nil, apperr.InvalidField(name, "must not define templates of its own", "write the words where they belong")
	}
	if tree == nil || tree.Root == nil { // parse leaves out a text of blanks alone
		tree = &parse.Tree{Name: name, Root: &parse.ListNode{NodeType: parse.NodeList}}
	}
	c := checker{part: name, kind: kind, text: content}
	if err := c.nodes(tree.Root, false); err != nil {
		return nil, err
	}
	return tree, nil
}

// checker walks through a part of a template.
type checker struct {
	part, text string
	kind       KindInfo
}

func (c checker) nodes(list *parse.ListNode, inList bool) error {
	if list == nil {
		return nil
	}
	for _, n := range list.Nodes {
		if err := c.node(n, inList); err != nil {
			return err
		}
	}
	return nil
}

func (c checker) node(n parse.Node, inList bool) error {
	switch n := n.(type) {
	case *parse.TextNode, *parse.CommentNode:
		return nil
	case *parse.ActionNode:
		f, err := c.pipe(n.Pipe, inList)
		if err != nil {
			return err
		}
		if f.List {
			return c.fault(n, fmt.Sprintf("prints %s, which is a list", f.Name), fmt.Sprintf("write {{range .%s}}- {{.}}{{end}}, with the line ends inside", f.Name))
		}
		return nil
	case *parse.IfNode:
		if _, err := c.pipe(n.Pipe, inList); err != nil {
			return err
		}
		if err := c.nodes(n.List, inList); err != nil {
			return err
		}
		return c.nodes(n.ElseList, inList)
	case *parse.RangeNode:
		return c.rangeNode(n, inList)
	}
	return c.fault(n, fmt.Sprintf("has %q, which a letter cannot use", n.String()), "only fields, if and range can be used")
}

func (c checker) rangeNode(n *parse.RangeNode, inList bool) error {
	if inList {
		return c.fault(n, "has a range inside of a range", "end the first one before")
	}
	if c.part == "subject" {
		return c.fault(n, "has a range", "name a single field: a subject is one line")
	}
	f, err := c.pipe(n.Pipe, false)
	if err != nil {
		return err
	}
	if !f.List {
		return c.fault(n, fmt.Sprintf("goes through %s, which is no list", f.Name), fmt.Sprintf("write {{.%s}}", f.Name))
	}
	if err := c.nodes(n.List, true); err != nil {
		return err
	}
	return c.nodes(n.ElseList, false)
}

// pipe finds the field that is named between braces. In a range the dot is an item, and other fields are named with $.
func (c checker) pipe(p *parse.PipeNode, inList bool) (Field, error) {
	if p == nil || len(p.Decl) > 0 || len(p.Cmds) != 1 || len(p.Cmds[0].Args) != 1 {
		return Field{}, c.fault(p, fmt.Sprintf("has {{%s}}, which a letter cannot use", p), "name one field between the braces: no functions, no variables")
	}
	var path []string
	switch arg := p.Cmds[0].Args[0].(type) {
	case *parse.DotNode:
		if inList {
			return Field{Name: "."}, nil
		}
		return Field{}, c.fault(arg, "has a dot without a field", "write the name of a field after it: it has "+c.kind.names())
	case *parse.FieldNode:
		if path = arg.Ident; inList {
			return Field{}, c.fault(arg, fmt.Sprintf("names .%s inside of a range", strings.Join(path, ".")), fmt.Sprintf("write {{$.%s}} there", strings.Join(path, ".")))
		}
	case *parse.VariableNode:
		if path = arg.Ident[1:]; arg.Ident[0] != "$" {
			path = nil
		}
	}
	if len(path) == 1 {
		if f, ok := c.kind.field(path[0]); ok {
			return f, nil
		}
		return Field{}, c.fault(p, fmt.Sprintf("names %s, which letters of the kind %s do not have", path[0], c.kind.Kind), "they have "+c.kind.names())
	}
	return Field{}, c.fault(p, fmt.Sprintf("has {{%s}}, which a letter cannot use", p), "name one field between the braces, such as {{.dog}}")
}

// fault names the line as well.
func (c checker) fault(n parse.Node, rule, remedy string) error {
	field := c.part
	if at := int(n.Position()); c.part == "body" && at <= len(c.text) {
		field = fmt.Sprintf("body, line %d,", 1+strings.Count(c.text[:at], "\n"))
	}
	return apperr.InvalidField(field, rule, remedy)
}

// oneLine makes one line of a text, without characters that control a screen or a protocol.
func oneLine(text string) string {
	return strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 || r == '\u2028' || r == '\u2029' || r == '\uFEFF' || r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069' {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))), " ")
}

// valuesOf fills in what a caller gives: fields that the kind does not have, or that are missing, are faults of the caller's.
func valuesOf(kind KindInfo, l Letter, head Letterhead) (values, error) {
	v := values{}
	for _, f := range kind.Fields {
		switch {
		case f.Own:
		case f.List:
			var items []string
			for _, item := range l.Lists[f.Name] {
				if item = oneLine(item); item != "" {
					items = append(items, item)
				}
			}
			v[f.Name] = items
		default:
			value := oneLine(l.Fields[f.Name])
			if value == "" && f.Required {
				return nil, fmt.Errorf("a letter of the kind %s needs the field %s", kind.Kind, f.Name)
			}
			v[f.Name] = value
		}
	}
	v["school"], v["phone"] = oneLine(head.Name), oneLine(head.Phone)
	for name := range l.Fields {
		if f, ok := kind.field(name); !ok || f.List || f.Own {
			return nil, fmt.Errorf("a letter of the kind %s has no field %s: it has %s", kind.Kind, name, kind.names())
		}
	}
	for name := range l.Lists {
		if f, ok := kind.field(name); !ok || !f.List {
			return nil, fmt.Errorf("a letter of the kind %s has no list %s: it has %s", kind.Kind, name, kind.names())
		}
	}
	return v, nil
}

// onlyKnown leaves out what a kind does not have.
func onlyKnown(kind KindInfo, l Letter) Letter {
	l.Fields, l.Lists = cloneOf(kind, l.Fields), cloneOf(kind, l.Lists)
	return l
}

func cloneOf[V any](kind KindInfo, all map[string]V) map[string]V {
	out := map[string]V{}
	for name, value := range all {
		if slices.ContainsFunc(kind.Fields, func(f Field) bool { return f.Name == name }) {
			out[name] = value
		}
	}
	return out
}
