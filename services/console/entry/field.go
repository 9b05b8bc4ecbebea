package entry

import (
	"embed"
	"html/template"
	"strings"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

//go:embed templates/field.html
var files embed.FS

var fieldTemplate = template.Must(template.ParseFS(files, "templates/field.html"))

// Field is one field of a form.
type Field struct {
	// Name is that of the form's field; labels and hints hang on it.
	Name  string
	Label string
	Hint  string
	// Form is how it is written, as exchange tells it: text, date, choice and so on.
	Form     string
	Value    string
	Fault    string
	Required bool
	// Needed says that it is needed unless something else is filled in: the browser does not insist, and nothing says that it may be left empty.
	Needed bool
	// Fixed shows the value and lets nobody change it.
	Fixed bool
	// Choices are the values of a choice.
	Choices []string
	// Codes are offered for a reference; More says that there are others, which the field finds as one types.
	Codes   []string
	More    bool
	Refers  string
	Longest int
	// Long is for text of several lines.
	Long bool
}

// HTML is the field with its label, hint and fault.
func (f Field) HTML() (template.HTML, error) {
	var b strings.Builder
	err := fieldTemplate.ExecuteTemplate(&b, "field.html", f)
	return template.HTML(b.String()), err //nolint:gosec // made and escaped by our own template
}

// Input is the type of the input.
func (f Field) Input() string {
	switch f.Form {
	case "date":
		return "date"
	case "time of day":
		return "time"
	case "whole number":
		return "number"
	}
	return "text"
}

// Described names what describes the field.
func (f Field) Described() string {
	var by []string
	if f.Hint != "" {
		by = append(by, f.ID()+"-hint")
	}
	if f.Fault != "" {
		by = append(by, f.ID()+"-fault")
	}
	return strings.Join(by, " ")
}

// ID is the name of the element.
func (f Field) ID() string { return strings.NewReplacer(".", "-", " ", "-").Replace(f.Name) }

// OfColumn makes a field of a column. name is that of the form's field.
func OfColumn(name string, c *exchangev1.Column, value string, codes *exchangev1.Codes) Field {
	f := Field{Name: name, Label: Label(c.GetName()), Hint: hint(c), Form: c.GetForm(), Value: value, Required: c.GetRequired(), Choices: c.GetOneOf(),
		Refers: c.GetRefers(), Longest: int(c.GetLongest()), Long: c.GetForm() == "text" && c.GetLongest() >= 300}
	if c.GetForm() == "yes or no" {
		f.Choices = []string{"yes", "no"}
	}
	if c.GetMany() {
		f.Choices, f.Form = nil, "text"
	}
	for _, code := range codes.GetCodes() {
		if c.GetWithin() != "" {
			code = code[strings.LastIndex(code, "/")+1:]
		}
		f.Codes = append(f.Codes, code)
	}
	f.More = codes.GetMore()
	return f
}

// Label is a column's name as a person reads it.
func Label(column string) string {
	text := strings.ReplaceAll(column, "_", " ")
	return strings.ToUpper(text[:1]) + text[1:]
}

func hint(c *exchangev1.Column) string {
	text := c.GetAbout()
	switch {
	case c.GetMany() && len(c.GetOneOf()) > 0:
		text += "; any of " + strings.Join(c.GetOneOf(), ", ") + ", with | between"
	case c.GetMany():
		text += "; several with | between"
	case c.GetExample() != "" && len(c.GetOneOf()) == 0 && c.GetForm() != "date" && c.GetForm() != "yes or no":
		text += ", such as " + c.GetExample()
	}
	return text
}
