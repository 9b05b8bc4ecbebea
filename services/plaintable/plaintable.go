// Package plaintable makes the tables that people read in a terminal, in a mail and on paper: a line under the heading and none elsewhere.
package plaintable

import (
	"io"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
)

// New makes a table with these headings; Render writes it to out.
func New(out io.Writer, headings ...any) table.Writer {
	t := table.NewWriter()
	t.SetOutputMirror(out)
	t.AppendHeader(table.Row(headings))
	style := table.StyleLight
	style.Options = table.Options{SeparateHeader: true}
	style.Box.PaddingLeft, style.Box.PaddingRight = "", "  "
	style.Format.Header = text.FormatDefault
	t.SetStyle(style)
	return t
}

// Wrap breaks words into lines of at most so many characters, between words where it can.
func Wrap(words string, width int) string { return text.WrapSoft(words, width) }
