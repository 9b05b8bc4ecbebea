package sheet

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"path"
	"sort"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// The library's row iterator returns values only, and takes the end of a broken
// sheet for the end of the list. scanSheet reads the rest of what matters from
// the same bytes: which numbers are shown as dates, which formulas have no
// value, which cells are merged, and whether the sheet is whole.

// cellSet is a sorted set of cells, each in 32 bits: row and column.
type cellSet []uint32

func cellAt(line, at int) uint32 { return uint32(line)<<8 | uint32(at) }

func (s cellSet) has(line, at int) bool {
	if len(s) == 0 || at >= MaxColumns {
		return false
	}
	want := cellAt(line, at)
	i := sort.Search(len(s), func(i int) bool { return s[i] >= want })
	return i < len(s) && s[i] == want
}

// mergedDown is a block of merged cells of more than one row: its value stands
// in the first row, and holds for the others as well.
type mergedDown struct {
	top, bottom, at int
	value           string
}

type sheetFacts struct {
	dates     cellSet // numbers shown as dates or times
	uncounted cellSet // formulas without a saved value
	merged    int
	down      []*mergedDown
	whole     bool
}

// content returns the XML of a sheet.
func (w *book) content(name string) []byte {
	part, ok := w.f.Pkg.Load(w.parts[name])
	if !ok {
		return nil
	}
	data, _ := part.([]byte)
	return data
}

// scanSheet looks through the tags of a sheet. It knows the spelling that
// spreadsheet programs write; in another, such as tags with a prefix, it finds
// no dates, formulas or merges, and the cells are read by their column alone.
func scanSheet(data []byte, isDate func(style int) bool) sheetFacts {
	var f sheetFacts
	tail := bytes.TrimRight(data, " \t\r\n")
	ended := bytes.Contains(data, []byte("</sheetData>")) || bytes.Contains(data, []byte(":sheetData>")) ||
		bytes.Contains(data, []byte("<sheetData/>")) || bytes.Contains(data, []byte("<sheetData />"))
	f.whole = ended && bytes.HasSuffix(tail, []byte("worksheet>"))
	styles := map[string]bool{}
	shownAsDate := func(s string) bool {
		known, ok := styles[s]
		if !ok {
			id, err := strconv.Atoi(s)
			known = err == nil && id > 0 && isDate(id)
			styles[s] = known
		}
		return known
	}
	rest := data
	for {
		i := bytes.Index(rest, []byte("<c r=\""))
		if i < 0 {
			break
		}
		rest = rest[i+len("<c "):]
		end := bytes.IndexByte(rest, '>')
		if end < 0 {
			break
		}
		tag := rest[:end]
		style, kind := attribute(tag, "s"), attribute(tag, "t")
		date := style != "" && (kind == "" || kind == "n") && shownAsDate(style)
		formula := !bytes.HasSuffix(tag, []byte("/")) && bytes.HasPrefix(rest[end+1:], []byte("<f"))
		if !date && !formula {
			continue
		}
		at, line, err := excelize.CellNameToCoordinates(attribute(tag, "r"))
		if err != nil || at > MaxColumns {
			continue
		}
		if date {
			f.dates = append(f.dates, cellAt(line, at-1))
		}
		if formula && kind != "str" && !hasValue(rest[end+1:]) {
			f.uncounted = append(f.uncounted, cellAt(line, at-1))
		}
	}
	sortSet(f.dates)
	sortSet(f.uncounted)
	f.scanMerges(data)
	return f
}

// hasValue reports whether the cell that begins here has a saved value. A
// formula whose value is the empty text has the type str and does not come here.
func hasValue(cell []byte) bool {
	cell, _, closed := bytes.Cut(cell, []byte("</c>"))
	if !closed || bytes.Contains(cell, []byte("<is")) {
		return true // nothing that we know
	}
	_, value, found := bytes.Cut(cell, []byte("<v"))
	if !found {
		return false
	}
	tag, value, _ := bytes.Cut(value, []byte{'>'})
	return !bytes.HasSuffix(tag, []byte{'/'}) && !bytes.HasPrefix(value, []byte("</"))
}

func sortSet(s cellSet) { sort.Slice(s, func(i, j int) bool { return s[i] < s[j] }) }

// attribute returns the value of an attribute of a start tag; "" without it.
func attribute(tag []byte, name string) string {
	for _, part := range bytes.Fields(tag) {
		if value, ok := bytes.CutPrefix(part, []byte(name+`="`)); ok {
			value, _, _ = bytes.Cut(value, []byte{'"'})
			return string(value)
		}
	}
	return ""
}

// maxMerges is how many merged blocks are looked at; a list has few or none.
const maxMerges = 10_000

// scanMerges reads the merged blocks, which stand behind the cells.
func (f *sheetFacts) scanMerges(data []byte) {
	start := bytes.LastIndex(data, []byte("</sheetData>"))
	if start < 0 {
		return
	}
	for rest := data[start:]; f.merged < maxMerges; {
		i := bytes.Index(rest, []byte("<mergeCell "))
		if i < 0 {
			break
		}
		rest = rest[i+1:]
		tag, _, _ := bytes.Cut(rest, []byte{'>'})
		from, to, ok := strings.Cut(attribute(tag, "ref"), ":")
		left, top, err := excelize.CellNameToCoordinates(from)
		_, bottom, err2 := excelize.CellNameToCoordinates(to)
		if f.merged++; ok && err == nil && err2 == nil && bottom > top && left <= MaxColumns {
			f.down = append(f.down, &mergedDown{top: top, bottom: bottom, at: left - 1})
		}
	}
	sort.SliceStable(f.down, func(i, j int) bool { return f.down[i].top < f.down[j].top })
}

// fillDown gives the rows of a merged block the value of its first row. Rows
// come in order. A row with nothing else in it stays blank.
func (f *sheetFacts) fillDown(line int, cells []string) []string {
	for len(f.down) > 0 && f.down[0].bottom < line {
		f.down = f.down[1:]
	}
	for _, m := range f.down {
		switch {
		case m.top > line:
			return cells
		case m.top == line && m.at < len(cells):
			m.value = cells[m.at]
		case m.top < line && line <= m.bottom && m.value != "":
			for len(cells) <= m.at {
				cells = append(cells, "")
			}
			if cells[m.at] == "" {
				cells[m.at] = m.value
			}
		}
	}
	return cells
}

// sheetParts finds, as the standard says, which part of the archive holds which
// sheet: from the package to the workbook, and from there by relationship.
func sheetParts(f *excelize.File) (map[string]string, error) {
	type relations struct {
		Relationship []struct {
			ID     string `xml:"Id,attr"`
			Type   string `xml:"Type,attr"`
			Target string `xml:"Target,attr"`
		}
	}
	load := func(name string, into any) error {
		part, _ := f.Pkg.Load(name)
		data, _ := part.([]byte)
		d := xml.NewDecoder(bytes.NewReader(data))
		d.CharsetReader = f.CharsetReader
		if err := d.Decode(into); err != nil {
			return fmt.Errorf("read %s: %w", name, err)
		}
		return nil
	}
	var top, rels relations
	if err := load("_rels/.rels", &top); err != nil {
		return nil, err
	}
	main := "xl/workbook.xml"
	for _, r := range top.Relationship {
		if strings.HasSuffix(r.Type, "/officeDocument") {
			main = resolve("", r.Target)
		}
	}
	var workbook struct {
		Sheets struct {
			Sheet []struct {
				Name  string     `xml:"name,attr"`
				Attrs []xml.Attr `xml:",any,attr"`
			} `xml:"sheet"`
		} `xml:"sheets"`
	}
	if err := load(main, &workbook); err != nil {
		return nil, err
	}
	if err := load(path.Join(path.Dir(main), "_rels", path.Base(main)+".rels"), &rels); err != nil {
		return nil, err
	}
	targets := map[string]string{}
	for _, r := range rels.Relationship {
		targets[r.ID] = resolve(path.Dir(main), r.Target)
	}
	parts := map[string]string{}
	for _, s := range workbook.Sheets.Sheet {
		for _, a := range s.Attrs {
			if a.Name.Local == "id" {
				parts[s.Name] = targets[a.Value]
			}
		}
	}
	return parts, nil
}

// resolve turns the target of a relationship into the name of a part.
func resolve(dir, target string) string {
	target = strings.ReplaceAll(target, `\`, "/")
	if strings.HasPrefix(target, "/") {
		return path.Clean(target)[1:]
	}
	return path.Join(dir, target)
}
