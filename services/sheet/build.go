package sheet

import (
	"errors"
	"fmt"
	"io"
	"strings"
)

// headerRows is how many rows are looked at for the header: above it there may
// be a title.
const headerRows = 10

// record is one row of a file as its format delivers it.
type record struct {
	line   int
	cells  []string
	broken *problem         // the format itself is broken here; cells are a guess
	cellBy map[int]*problem // what the format knows to be wrong with single cells; nil for most
}

// source delivers the records of a file, io.EOF at its end. Any other error
// ends the reading. The cells may be overwritten by the next call.
type source interface{ next() (record, error) }

// builder turns records into a Table.
type builder struct {
	table    *Table
	lay      *layout
	mends    map[int][]Mend // of this sheet, by line
	faults   collector
	ragged   bool            // every row must have as many cells as the header (CSV)
	adapt    func(r *record) // what a workbook's cells need before they are read; may be nil
	global   []Fault         // faults of the header: no row is good while there are any
	seen     map[string]int  // key to line
	short    map[int]bool    // columns with years of two digits
	rows     int             // rows that are not blank
	cellSlab []string        // kept cells are cut from slabs, which is faster than one by one
	numSlab  []int64
}

func newBuilder(file, sheetName string, k Kind, o Options) *builder {
	return &builder{
		table:  &Table{Kind: k, File: file, Sheet: sheetName},
		lay:    newLayout(k, o.Dates),
		mends:  mendsOf(sheetName, o.Mends),
		faults: collector{file: file},
		seen:   map[string]int{},
		short:  map[int]bool{},
	}
}

func (b *builder) note(format string, args ...any) {
	b.table.Notes = append(b.table.Notes, fmt.Sprintf(format, args...))
}

// run reads all of a source. The error is a Fault.
func (b *builder) run(src source) (Table, error) {
	head, err := peek(src)
	if err != nil {
		return Table{}, b.failed(err)
	}
	at := findHeader(b.lay, head)
	if at < 0 {
		return Table{}, b.noHeader(head)
	}
	if at > 0 {
		b.note("the header row is line %d; what stands above it was not read", head[at].line)
	}
	if p := b.header(head[at]); p != nil {
		return Table{}, unreadable(b.table.File, p.rule, p.remedy)
	}
	for _, r := range head[at+1:] {
		if err := b.row(r); err != nil {
			return Table{}, b.failed(err)
		}
	}
	for {
		r, err := src.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			err = b.row(r)
		}
		if err != nil {
			return Table{}, b.failed(err)
		}
	}
	if b.rows == 0 {
		b.note("the file has a header and no rows")
	}
	b.table.Faults = b.faults.all()
	return *b.table, nil
}

// failed makes a Fault of any error of a source.
func (b *builder) failed(err error) error {
	var f Fault
	if errors.As(err, &f) {
		return err
	}
	return unreadable(b.table.File, "can't be read: "+err.Error(), saveAs)
}

// peek takes the first rows that are not blank.
func peek(src source) ([]record, error) {
	var head []record
	for len(head) < headerRows {
		r, err := src.next()
		if errors.Is(err, io.EOF) {
			return head, nil
		}
		if err != nil {
			return nil, err
		}
		if used(r.cells) > 0 || r.broken != nil {
			r.cells = append([]string(nil), r.cells...)
			head = append(head, r)
		}
	}
	return head, nil
}

// findHeader returns the row that names the most columns; -1 when none does.
func findHeader(l *layout, head []record) int {
	best, most := -1, 0
	for i, r := range head {
		if r.broken == nil {
			if n := l.match(r.cells); n > most {
				best, most = i, n
			}
		}
	}
	return best
}

func (b *builder) noHeader(head []record) error {
	var want []string
	for _, c := range b.lay.kind.Columns {
		want = append(want, c.Name)
	}
	f := Fault{
		File:   b.table.File,
		Rule:   fmt.Sprintf("has no header row with the columns of %s", b.lay.kind.Name),
		Remedy: "write a first row with the names " + strings.Join(want, ", "),
	}
	for _, r := range head {
		if r.broken != nil {
			f.Line, f.Rule, f.Remedy = r.line, r.broken.rule, r.broken.remedy
			break
		}
	}
	return f
}

// used returns the number of cells up to the last one that holds anything.
func used(cells []string) int {
	n := len(cells)
	for n > 0 && clean(cells[n-1]) == "" {
		n--
	}
	return n
}

// header takes the header row: which cell belongs to which column.
func (b *builder) header(r record) *problem {
	names := r.cells[:used(r.cells)]
	if len(names) > MaxColumns {
		return wrong(fmt.Sprintf("has %d columns, more than %d", len(names), MaxColumns), "delete the columns that do not belong to the list")
	}
	b.table.HeaderLine = r.line
	unknown := map[string]bool{}
	for at, raw := range names {
		name := unguard(clean(raw))
		b.table.Header = append(b.table.Header, name)
		b.lay.file = append(b.lay.file, ignored)
		i, ok := b.lay.named[fold(name)]
		switch {
		case ok && b.lay.at[i] < 0:
			b.lay.at[i], b.lay.file[at] = at, i
		case ok:
			b.global = b.faults.add(b.global, r.line, b.lay.cols[i].Name, name, wrong(
				fmt.Sprintf("stands over two columns (%s and %s)", columnLetters(b.lay.at[i]), columnLetters(at)), "delete or rename one of them"))
		case fold(name) == "":
			b.lay.file[at] = unnamed
		case fold(name) != reasonsColumn && !unknown[name]:
			unknown[name] = true
			b.note("column '%s' is not known and was not read", name)
		}
	}
	for i := range b.lay.cols {
		if c := &b.lay.cols[i]; c.required && b.lay.at[i] < 0 {
			remedy := fmt.Sprintf("add a column with the name %s", c.Name)
			for _, name := range b.table.Header {
				if unknown[name] && nearest(fold(name), []string{c.Name}) != "" {
					remedy = fmt.Sprintf("is '%s' meant? rename it to %s", name, c.Name)
				}
			}
			b.global = b.faults.add(b.global, r.line, c.Name, "", wrong("is missing from the header", remedy))
		}
	}
	return nil
}

// columnLetters names a cell of a row as spreadsheet programs do: 0 is A, 26 is AA.
func columnLetters(at int) string {
	name := ""
	for at++; at > 0; at = (at - 1) / 26 {
		name = string(rune('A'+(at-1)%26)) + name
	}
	return name
}

// row checks one row and keeps it as good or rejected.
func (b *builder) row(r record) error {
	n := used(r.cells)
	if n == 0 && r.broken == nil {
		return nil
	}
	if n > MaxColumns && r.broken == nil {
		return Fault{File: b.table.File, Line: r.line, Rule: fmt.Sprintf("has %d cells, more than the %d columns a list may have", n, MaxColumns),
			Remedy: "delete what stands beside the list"}
	}
	if b.rows++; b.rows > MaxRows {
		return unreadable(b.table.File, fmt.Sprintf("has more than %d rows", MaxRows), "split it into several files")
	}
	if b.adapt != nil {
		b.adapt(&r)
	}
	if n = b.mend(&r, n); n == 0 && r.broken == nil {
		b.rows--
		return nil
	}
	good := Row{Line: r.line, lay: b.lay, nums: b.takeNums(len(b.lay.cols))}
	faults := b.shape(r, n)
	if len(faults) == 0 {
		good.cells = b.takeCells(r.cells[:min(n, len(b.table.Header))])
		faults = b.cells(r, good)
	}
	if len(faults) == 0 && len(b.global) == 0 {
		faults = b.unique(good)
	}
	if len(faults) > 0 || len(b.global) > 0 {
		b.table.Rejected = append(b.table.Rejected, Rejected{
			Line: r.line, Row: b.takeCells(r.cells[:n]), Faults: append(faults, b.global...)})
		return nil
	}
	b.table.Rows = append(b.table.Rows, good)
	return nil
}

// shape checks the row as a whole: whether it could be read and has the cells
// that the header promises.
func (b *builder) shape(r record, n int) []Fault {
	width := len(b.table.Header)
	switch {
	case r.broken != nil:
		return b.faults.add(nil, r.line, "", "", r.broken)
	case n > width:
		return b.faults.add(nil, r.line, "", r.cells[n-1], wrong(
			fmt.Sprintf("stands in cell %d, but the header has %d columns", n, width),
			"put quotes round a cell that holds a separator, or delete the extra cell"))
	case b.ragged && len(r.cells) < width:
		return b.faults.add(nil, r.line, "", "", wrong(
			fmt.Sprintf("has %d cells, but the header has %d columns", len(r.cells), width),
			"add the missing separators; a line break inside a cell needs quotes round the cell"))
	}
	return nil
}

// cells reads every cell of a row into its numbers.
func (b *builder) cells(r record, good Row) []Fault {
	var faults []Fault
	var n noted
	for i := range b.lay.cols {
		c := &b.lay.cols[i]
		text := good.text(i)
		if at := b.lay.at[i]; at >= 0 && r.cellBy[at] != nil {
			faults = b.faults.add(faults, r.line, c.Name, text, r.cellBy[at])
			continue
		}
		if text == "" {
			if c.required && b.lay.at[i] >= 0 {
				faults = b.faults.add(faults, r.line, c.Name, "", c.missing())
			}
			continue
		}
		num, p := c.read(text, &n)
		if p != nil {
			faults = b.faults.add(faults, r.line, c.Name, good.cells[b.lay.at[i]], p)
			continue
		}
		good.nums[i] = num
		if n.shortYear && !b.short[i] {
			b.short[i] = true
			b.note("column '%s' has years of two digits; they were read as 20xx", c.Name)
		}
		n.shortYear = false
	}
	for at, i := range b.lay.file {
		if i == unnamed && at < len(good.cells) && clean(good.cells[at]) != "" {
			faults = b.faults.add(faults, r.line, "", good.cells[at], wrong(
				fmt.Sprintf("stands in column %s, which has no name in the header", columnLetters(at)), "name the column, or empty the cell"))
		}
	}
	return faults
}

// missing is the problem of an empty cell that must not be empty.
func (c *column) missing() *problem {
	remedy := "fill it in"
	if c.Example != "" {
		remedy += ", for example " + c.Example
	}
	return wrong("has no value", remedy)
}

// unique refuses a row whose key an earlier good row has.
func (b *builder) unique(good Row) []Fault {
	if len(b.lay.keys) == 0 {
		return nil
	}
	key := good.Key()
	first, twice := b.seen[key]
	if !twice {
		b.seen[key] = good.Line
		return nil
	}
	return b.faults.add(nil, good.Line, strings.Join(b.lay.kind.Key, " and "), key, wrong(
		fmt.Sprintf("is on line %d already", first), fmt.Sprintf("keep one of lines %d and %d, or correct one of them", first, good.Line)))
}

// takeCells copies cells into a slab.
func (b *builder) takeCells(cells []string) []string {
	if len(b.cellSlab) < len(cells) {
		b.cellSlab = make([]string, max(4096, len(cells)))
	}
	kept := b.cellSlab[:len(cells):len(cells)]
	b.cellSlab = b.cellSlab[len(cells):]
	copy(kept, cells)
	return kept
}

func (b *builder) takeNums(n int) []int64 {
	if len(b.numSlab) < n {
		b.numSlab = make([]int64, max(4096, n))
	}
	kept := b.numSlab[:n:n]
	b.numSlab = b.numSlab[n:]
	return kept
}
