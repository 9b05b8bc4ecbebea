package mail

import (
	"html"
	"regexp"
	"strings"
	"unicode/utf8"
)

// block is a paragraph, a heading or a list of a letter.
type block struct {
	kind  blockKind
	lines []string
}

type blockKind uint8

const (
	paragraph blockKind = iota
	heading
	listing
	// address is a paragraph of nothing but a link.
	address
)

// webAddress finds addresses of pages; what ends a sentence is left to the sentence.
var webAddress = regexp.MustCompile(`https?://[^\s<>"]*[^\s<>".,;:!?)]`)

// parseBlocks reads the body of a letter.
func parseBlocks(body string) []block {
	var blocks []block
	open := false // whether the next line may belong to the last block
	for _, line := range strings.Split(strings.ReplaceAll(body, "\r\n", "\n"), "\n") {
		line = strings.TrimSpace(line)
		kind := paragraph
		switch {
		case line == "":
			open = false
			continue
		case strings.HasPrefix(line, "# "):
			kind, line = heading, strings.TrimSpace(line[2:])
		case strings.HasPrefix(line, "- "):
			kind, line = listing, strings.TrimSpace(line[2:])
		case webAddress.FindString(line) == line:
			kind = address
		}
		if n := len(blocks); open && n > 0 && blocks[n-1].kind == kind && (kind == paragraph || kind == listing) {
			blocks[n-1].lines = append(blocks[n-1].lines, line)
		} else {
			blocks = append(blocks, block{kind, []string{line}})
		}
		open = true
	}
	return joinLists(blocks)
}

// joinLists makes one list of items that blank lines stand between, as a range over a list leaves them.
func joinLists(blocks []block) []block {
	var out []block
	for _, b := range blocks {
		if n := len(out); n > 0 && b.kind == listing && out[n-1].kind == listing {
			out[n-1].lines = append(out[n-1].lines, b.lines...)
			continue
		}
		out = append(out, b)
	}
	return out
}

// textWidth is how wide the text part is written, in characters.
const textWidth = 72

// writeText writes the text part, with "\n" at the ends of lines.
func writeText(blocks []block) string {
	var out strings.Builder
	for i, b := range blocks {
		if i > 0 {
			out.WriteString("\n")
		}
		for _, line := range b.lines {
			switch b.kind {
			case heading:
				out.WriteString(line + "\n" + strings.Repeat("-", min(textWidth, utf8.RuneCountInString(line))) + "\n")
			case listing:
				out.WriteString(wrapped("- "+line, "  "))
			default:
				out.WriteString(wrapped(line, ""))
			}
		}
	}
	return out.String()
}

// wrapped breaks a line between words; a word that is wider, such as an address, stays whole.
func wrapped(line, indent string) string {
	var out strings.Builder
	width := 0
	for i, word := range strings.Fields(line) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case width+1+n > textWidth:
			out.WriteString("\n" + indent)
			width = len(indent)
		default:
			out.WriteString(" ")
			width++
		}
		out.WriteString(word)
		width += n
	}
	return out.String() + "\n"
}

// Styles of the HTML part. Mail programs drop style sheets, so each element has its own.
const (
	stylePage    = `margin:0;padding:0;background:#f4f1ea;color:#20281f`
	styleSheet   = `max-width:36em;margin:0 auto;padding:1.5em;background:#ffffff;font:16px/1.5 Georgia,'Times New Roman',serif`
	styleHeading = `font-size:1.15em;margin:1.4em 0 .4em;color:#2f5233`
	styleAddress = `margin:1.2em 0;padding:.7em 1em;border-left:4px solid #2f5233;background:#f4f1ea;word-break:break-all`
)

// writeHTML writes the HTML part. Everything that a template or a field holds is text to it, never markup.
func writeHTML(title string, blocks []block) string {
	var out strings.Builder
	out.WriteString("<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width\">\n<title>" +
		html.EscapeString(title) + "</title>\n</head>\n<body style=\"" + stylePage + "\">\n<div style=\"" + styleSheet + "\">\n")
	for _, b := range blocks {
		lines := make([]string, len(b.lines))
		for i, line := range b.lines {
			lines[i] = linked(line)
		}
		switch b.kind {
		case heading:
			out.WriteString("<h2 style=\"" + styleHeading + "\">" + html.EscapeString(b.lines[0]) + "</h2>\n")
		case listing:
			out.WriteString("<ul>\n<li>" + strings.Join(lines, "</li>\n<li>") + "</li>\n</ul>\n")
		case address:
			out.WriteString("<p style=\"" + styleAddress + "\">" + lines[0] + "</p>\n")
		default:
			out.WriteString("<p>" + strings.Join(lines, "<br>\n") + "</p>\n")
		}
	}
	out.WriteString("</div>\n</body>\n</html>\n")
	return out.String()
}

// linked escapes a line and makes links of its addresses.
func linked(line string) string {
	var out strings.Builder
	at := 0
	for _, found := range webAddress.FindAllStringIndex(line, -1) {
		target := html.EscapeString(line[found[0]:found[1]])
		out.WriteString(html.EscapeString(line[at:found[0]]) + `<a href="` + target + `" style="color:#2f5233">` + target + "</a>")
		at = found[1]
	}
	return out.String() + html.EscapeString(line[at:])
}
