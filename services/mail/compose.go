package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"mime/multipart"
	"mime/quotedprintable"
	"net/textproto"
	"strings"
	"time"
	"unicode/utf8"
)

// compose writes the message of a letter: a text part, an HTML part and, where an event comes with it, a calendar part with its method (RFC 6047
// section 2.4), as alternatives of one another. The same letter gives the same bytes, however often it is tried.
func compose(k Kept) ([]byte, error) {
	for _, fault := range []string{plainAddress(k.FromAddress), plainAddress(k.ToAddress)} {
		if fault != "" {
			return nil, fmt.Errorf("compose a letter: an address %s", fault)
		}
	}
	var out bytes.Buffer
	body := multipart.NewWriter(&out)
	if err := body.SetBoundary(boundary(k.MessageID)); err != nil {
		return nil, fmt.Errorf("compose a letter: %w", err)
	}
	header(&out, "Date", k.dated().Format(time.RFC1123Z))
	header(&out, "From", addressWords(k.from()))
	header(&out, "To", addressWords(k.to()))
	header(&out, "Subject", headerWords(oneLine(k.Subject)))
	header(&out, "Message-ID", "<"+k.MessageID+">")
	// A machine wrote it: programs that answer by themselves should not (RFC 3834 section 5).
	header(&out, "Auto-Submitted", "auto-generated")
	header(&out, "MIME-Version", "1.0")
	header(&out, "Content-Type", "multipart/alternative;", `boundary="`+body.Boundary()+`"`)
	out.WriteString("\r\n")
	content, method := k.calendar()
	for _, p := range []struct{ kind, content string }{
		{"text/plain; charset=UTF-8", k.BodyText}, {"text/html; charset=UTF-8", k.BodyHTML}, {"text/calendar; charset=UTF-8; method=" + method, content},
	} {
		if p.content == "" {
			continue
		}
		if err := writePart(body, p.kind, p.content); err != nil {
			return nil, fmt.Errorf("compose a letter: %w", err)
		}
	}
	if err := body.Close(); err != nil {
		return nil, fmt.Errorf("compose a letter: %w", err)
	}
	return out.Bytes(), nil
}

func writePart(body *multipart.Writer, kind, content string) error {
	part, err := body.CreatePart(textproto.MIMEHeader{"Content-Type": {kind}, "Content-Transfer-Encoding": {"quoted-printable"}})
	if err != nil {
		return err
	}
	w := quotedprintable.NewWriter(part)
	if _, err := w.Write([]byte(strings.ReplaceAll(strings.ReplaceAll(content, "\r\n", "\n"), "\n", "\r\n"))); err != nil {
		return err
	}
	return w.Close()
}

// boundary is the same for every attempt, and nothing that a letter's words could hold by chance.
func boundary(messageID string) string {
	sum := sha256.Sum256([]byte(messageID))
	return "part-" + hex.EncodeToString(sum[:15])
}

// foldHeaderAt is how long a line of a header with encoded words may be (RFC 2047 section 2).
const foldHeaderAt = 76

// header writes a field, folded between words. No word holds a blank or a line end.
func header(out *bytes.Buffer, name string, words ...string) {
	out.WriteString(name + ":")
	width := len(name) + 1
	for i, group := range words {
		for j, word := range strings.Split(group, " ") {
			if i+j > 0 && width+1+len(word) > foldHeaderAt {
				out.WriteString("\r\n")
				width = 0
			}
			out.WriteString(" " + word)
			width += 1 + len(word)
		}
	}
	out.WriteString("\r\n")
}

// headerWords is a text for a header: as it is, or in encoded words (RFC 2047) with blanks between, where it has more than ASCII.
func headerWords(text string) string {
	if isASCII(text) && !strings.Contains(text, "=?") {
		return text
	}
	return encodedWords(text)
}

// wordBytes is how many bytes an encoded word may hold, so that it fits a line after the name of a field.
const wordBytes = 39

func encodedWords(text string) string {
	var words []string
	for len(text) > 0 {
		cut := min(wordBytes, len(text))
		for cut < len(text) && !utf8.RuneStart(text[cut]) {
			cut--
		}
		words = append(words, "=?UTF-8?B?"+base64.StdEncoding.EncodeToString([]byte(text[:cut]))+"?=")
		text = text[cut:]
	}
	return strings.Join(words, " ")
}

// addressWords is an address for a header, its name quoted or in encoded words (RFC 5322 section 3.4, RFC 2047 section 5).
func addressWords(a Address) string {
	name := oneLine(a.Name)
	switch {
	case name == "":
		return "<" + a.Addr + ">"
	case isASCII(name) && !strings.Contains(name, "=?"):
		name = `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(name) + `"`
	default:
		name = encodedWords(name)
	}
	return name + " <" + a.Addr + ">"
}

func isASCII(text string) bool {
	for i := range len(text) {
		if text[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}
