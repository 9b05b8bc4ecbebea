package sheet

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/htmlindex"
)

type fileFormat int

const (
	formatCSV fileFormat = iota
	formatXLSX
)

const saveAs = "open it in a spreadsheet program and save it as .xlsx or as CSV (UTF-8)"

// sniff finds out from its first bytes what a file is. Names lie: programs hand
// out web pages as .xls, and people rename.
func sniff(file string, data []byte) (fileFormat, error) {
	switch {
	case len(data) > MaxFile:
		return 0, unreadable(file, fmt.Sprintf("is larger than %d MB", MaxFile>>20), "split it into smaller files")
	case len(bytes.Trim(data, " \t\r\n\x00\xEF\xBB\xBF\xFF\xFE")) == 0:
		return 0, unreadable(file, "is empty", "save the list again, with its header row")
	case bytes.HasPrefix(data, []byte("PK\x03\x04")), bytes.HasPrefix(data, []byte("PK\x05\x06")):
		return formatXLSX, checkZip(file, data)
	case bytes.HasPrefix(data, []byte("\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1")):
		return 0, oleFault(file, data)
	}
	if what := foreign(data); what != "" {
		return 0, unreadable(file, "is "+what+", not a table", saveAs)
	}
	return formatCSV, nil
}

// foreign names some formats that are handed in by mistake; "" for none.
func foreign(data []byte) string {
	head := data[:min(len(data), 512)]
	for magic, what := range map[string]string{
		"%PDF": "a PDF document", "\x89PNG": "a picture", "\xFF\xD8\xFF": "a picture", "GIF8": "a picture",
		"\x1F\x8B": "a compressed file", "{\\rtf": "a text document (RTF)", "7z\xBC\xAF": "a compressed file",
		"Rar!": "a compressed file", "SQLite format 3": "a database", "\x7FELF": "a program", "MZ\x90": "a program",
	} {
		if bytes.HasPrefix(head, []byte(magic)) {
			return what
		}
	}
	text := strings.ToLower(string(bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF")), " \t\r\n")))
	for prefix, what := range map[string]string{
		"<!doctype": "a web page", "<html": "a web page", "<table": "a web page", "<?xml": "an XML document",
	} {
		if strings.HasPrefix(text, prefix) {
			return what
		}
	}
	return ""
}

// oleFault explains a file in the container of old Office programs. Protected
// new workbooks come in it as well; their directory names the encrypted part.
func oleFault(file string, data []byte) error {
	name := func(s string) []byte {
		var b []byte
		for _, u := range utf16.Encode([]rune(s)) {
			b = binary.LittleEndian.AppendUint16(b, u)
		}
		return b
	}
	switch {
	case bytes.Contains(data, name("EncryptedPackage")):
		return unreadable(file, "is protected with a password", "open it, remove the password, and save it again as .xlsx")
	case bytes.Contains(data, name("Workbook")), bytes.Contains(data, name("Book")):
		return unreadable(file, "is a workbook in the old .xls format", saveAs)
	}
	return unreadable(file, "is an old Office document, not a table", saveAs)
}

// checkZip refuses archives that are no workbook, are damaged, or would unpack
// to more than a school's list can be.
func checkZip(file string, data []byte) error {
	damaged := unreadable(file, "is a damaged workbook", damagedRemedy)
	zr, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return damaged
	}
	if len(zr.File) > 10_000 {
		return unreadable(file, "has too many parts for a workbook", saveAs)
	}
	var total uint64
	for _, f := range zr.File {
		total += f.UncompressedSize64
		switch {
		case f.Flags&1 != 0:
			return unreadable(file, "is protected with a password", "remove the password, and save it again as .xlsx")
		case f.UncompressedSize64 > MaxUnzipped || total > MaxUnzipped:
			return unreadable(file, fmt.Sprintf("unpacks to more than %d MB", MaxUnzipped>>20), "delete what does not belong to the list, or split it, and save again")
		case f.UncompressedSize64 > 1100*f.CompressedSize64+1024:
			return damaged // deflate packs at most about 1032 to 1; a file that claims more lies
		}
	}
	if p := archiveContent(zr); p != nil {
		return unreadable(file, p.rule, p.remedy)
	}
	for _, f := range zr.File {
		if !intact(f) {
			return damaged
		}
	}
	return nil
}

// archiveContent reports archives that are something else than a workbook.
func archiveContent(zr *zip.Reader) *problem {
	workbook, other := false, ""
	for _, f := range zr.File {
		switch name := strings.ToLower(strings.ReplaceAll(f.Name, `\`, "/")); {
		case name == "[content_types].xml":
			workbook = true
		case name == "xl/workbook.bin":
			other = "a binary workbook (.xlsb)"
		case strings.HasPrefix(name, "word/"):
			other = "a text document (.docx)"
		case strings.HasPrefix(name, "ppt/"):
			other = "a presentation (.pptx)"
		case name == "content.xml":
			other = "an OpenDocument file"
		case strings.HasPrefix(name, "index/") && strings.HasSuffix(name, ".iwa"):
			other = "a Numbers document"
		}
	}
	switch {
	case other != "":
		return wrong("is "+other, saveAs)
	case !workbook:
		return wrong("is a zip archive, not a workbook", "unpack it and hand in the file inside")
	}
	return nil
}

// intact unpacks a part of a workbook to see whether it is as it was packed; the
// workbook library takes the bytes up to the damage for the whole part. Pictures
// and the like are passed over.
func intact(f *zip.File) bool {
	if !isNamed(f.Name, ".xml", ".rels") {
		return true
	}
	rc, err := f.Open()
	if err != nil {
		return false
	}
	_, err = io.Copy(io.Discard, rc)
	return errors.Join(err, rc.Close()) == nil
}

// decodeText turns the bytes of a text file into UTF-8 with line feeds, and
// returns notes on what it was. A byte order mark settles the encoding, else
// valid UTF-8 is UTF-8, and the rest is taken for Windows-1252 unless it holds
// bytes which that does not have.
func decodeText(file string, data []byte, name string) ([]byte, []string, error) {
	var notes []string
	text, label, err := toUTF8(file, data, name)
	if err != nil {
		return nil, nil, err
	}
	if label != "" {
		notes = append(notes, "read as "+label)
	}
	if p := binaryContent(text); p != nil {
		return nil, nil, unreadable(file, p.rule, p.remedy)
	}
	// Old Macintosh programs end lines with a carriage return alone.
	if bytes.IndexByte(text, '\n') < 0 && bytes.IndexByte(text, '\r') >= 0 {
		text = bytes.ReplaceAll(text, []byte{'\r'}, []byte{'\n'})
	}
	return text, notes, nil
}

// toUTF8 returns the text and, where it was not UTF-8, the name of what it was.
func toUTF8(file string, data []byte, name string) ([]byte, string, error) {
	if name != "" && fold(name) != "auto" {
		enc, err := htmlindex.Get(strings.TrimSpace(name))
		if err != nil {
			return nil, "", unreadable(file, fmt.Sprintf("can't be read: the encoding %q is not known", name), "write utf-8, utf-16le, utf-16be or windows-1252, or leave the option out")
		}
		label, _ := htmlindex.Name(enc)
		text, err := decodeWith(file, data, enc, label)
		if err != nil || label == "utf-8" {
			label = ""
		}
		return text, label, err
	}
	if rest, ok := bytes.CutPrefix(data, []byte("\xEF\xBB\xBF")); ok {
		data = rest
	}
	if order, rest, ok := utf16Order(data); ok {
		return utf16ToUTF8(rest, order), "UTF-16", nil
	}
	if utf8.Valid(data) {
		return data, "", nil
	}
	line := 1 + bytes.Count(data[:invalidAt(data)], []byte{'\n'})
	if hasUndefined1252(data) {
		return nil, "", unreadable(file, fmt.Sprintf("is neither UTF-8 nor Windows-1252 text (line %d)", line),
			saveAs+", or name its encoding with the option --encoding")
	}
	text, err := charmap.Windows1252.NewDecoder().Bytes(data)
	if err != nil {
		return nil, "", unreadable(file, "can't be read as Windows-1252: "+err.Error(), saveAs)
	}
	return text, fmt.Sprintf("Windows-1252, because line %d is not valid UTF-8", line), nil
}

func decodeWith(file string, data []byte, enc encoding.Encoding, label string) ([]byte, error) {
	data = bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF"))
	if order, rest, ok := utf16Order(data); ok && strings.HasPrefix(label, "utf-16") {
		return utf16ToUTF8(rest, order), nil
	}
	if label == "utf-8" {
		if !utf8.Valid(data) {
			return nil, Fault{File: file, Line: 1 + bytes.Count(data[:invalidAt(data)], []byte{'\n'}), Rule: "is not valid UTF-8",
				Remedy: "save the file as CSV (UTF-8), or leave the option --encoding out"}
		}
		return data, nil
	}
	text, err := enc.NewDecoder().Bytes(data)
	if err != nil {
		return nil, unreadable(file, "can't be read as "+label+": "+err.Error(), saveAs)
	}
	return bytes.TrimPrefix(text, []byte("\xEF\xBB\xBF")), nil
}

// invalidAt returns where UTF-8 ends to be valid; len(data) when it never does.
func invalidAt(data []byte) int {
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return len(data)
}

// hasUndefined1252 reports bytes that no Windows-1252 text holds.
func hasUndefined1252(data []byte) bool {
	for _, b := range []byte{0x81, 0x8D, 0x8F, 0x90, 0x9D} {
		if bytes.IndexByte(data, b) >= 0 {
			return true
		}
	}
	return false
}

// utf16Order recognises UTF-16 by its byte order mark, or without one by zero
// bytes in nearly every second place, as text in a Latin alphabet has them.
func utf16Order(data []byte) (binary.ByteOrder, []byte, bool) {
	switch {
	case bytes.HasPrefix(data, []byte{0xFF, 0xFE}):
		return binary.LittleEndian, data[2:], true
	case bytes.HasPrefix(data, []byte{0xFE, 0xFF}):
		return binary.BigEndian, data[2:], true
	}
	head := data[:min(len(data), 1000)]
	var zeros [2]int
	for i, b := range head {
		if b == 0 {
			zeros[i%2]++
		}
	}
	switch half := len(head) / 2; {
	case half < 8:
	case zeros[1] > half*8/10 && zeros[0] == 0:
		return binary.LittleEndian, data, true
	case zeros[0] > half*8/10 && zeros[1] == 0:
		return binary.BigEndian, data, true
	}
	return nil, nil, false
}

func utf16ToUTF8(data []byte, order binary.ByteOrder) []byte {
	out := make([]byte, 0, len(data)/2+len(data)/16)
	for i := 0; i+1 < len(data); i += 2 {
		r := rune(order.Uint16(data[i:]))
		if utf16.IsSurrogate(r) && i+3 < len(data) {
			if pair := utf16.DecodeRune(r, rune(order.Uint16(data[i+2:]))); pair != utf8.RuneError {
				r = pair
				i += 2
			}
		}
		out = utf8.AppendRune(out, r) // a lone surrogate becomes U+FFFD
	}
	return out
}

// binaryContent reports data that is no text: many control characters. A few
// are left for the cells that hold them to be named.
func binaryContent(text []byte) *problem {
	head := text[:min(len(text), 1<<16)]
	controls := 0
	for _, b := range head {
		if b < ' ' && b != '\n' && b != '\r' && b != '\t' {
			controls++
		}
	}
	if controls > 3 && controls*50 > len(head) {
		return wrong("holds binary data, not a table", saveAs)
	}
	return nil
}

// isNamed reports whether a file name has one of the endings.
func isNamed(file string, endings ...string) bool {
	ext := strings.ToLower(filepath.Ext(file))
	for _, e := range endings {
		if ext == e {
			return true
		}
	}
	return false
}
