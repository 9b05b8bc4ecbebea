package daysheet

import (
	"math"
	"unicode/utf8"
)

// size is a size of print: that of the letters in points, and of a line in letters. page.css has the same numbers.
type size struct{ points, leading float64 }

// sizes are tried from the largest down. What does not fit at the smallest goes on on a second page: smaller print cannot be read.
var sizes = []size{{8.6, 1.22}, {7.8, 1.22}, {7, 1.22}, {6.3, 1.15}}

// Millimetres of a page between its margins.
var (
	pageHeight = map[Paper]float64{PaperA4: 297 - 2*pageMargin, PaperLetter: 279.4 - 2*pageMargin}
	pageWidth  = map[Paper]float64{PaperA4: 210 - 2*pageMargin, PaperLetter: 215.9 - 2*pageMargin}
)

const (
	pageMargin  = 9
	pointMM     = 25.4 / 72
	rowMM       = 0.3  // the line under a row
	rowLetters  = 0.16 // the room above and below what stands in a row
	headLetters = 10   // heading, captions, heads of tables and what lies between

	// Characters on a line, at the first of sizes on Letter: in the columns of dogs, cautions, contacts, what to do and skills, and across the
	// page. They were counted on printed pages, less what is lost where lines break between words.
	dogChars, cautionChars, contactChars, workChars, skillChars, acrossChars = 24, 76, 22, 28, 56, 122
	// spare is how much of a page is left free, as the guess may be short.
	spare = 0.03
)

// density guesses the largest size of print at which a sheet fits a page.
func density(s *pageSheet, foot []string, paper Paper) int {
	for i := range sizes {
		if heightOf(s, foot, sizes[i], paper) <= (1-spare)*pageHeight[paper] {
			return i
		}
	}
	return len(sizes) - 1
}

// heightOf guesses how many millimetres of paper a sheet takes.
func heightOf(s *pageSheet, foot []string, at size, paper Paper) float64 {
	lines, rows := 0, 0
	wider := sizes[0].points / at.points * pageWidth[paper] / pageWidth[PaperLetter]
	of := func(width int, texts ...string) int {
		n := 0
		for _, t := range texts {
			n += utf8.RuneCountInString(t)
		}
		return max(1, int(math.Ceil(float64(n)/(float64(width)*wider))))
	}
	for _, dog := range s.Dogs {
		n := 0
		for _, c := range dog.Cautions {
			n += of(cautionChars, c.About, ": ", c.Text)
		}
		who := of(dogChars, dog.Run, dog.Name, dog.Code, "    ") + of(dogChars, dog.Stay)
		call := of(contactChars, "Vet: ", dog.Vet.Name, dog.Vet.Phone, " ") + of(contactChars, "Owner: ", dog.Owner.Name, dog.Owner.Phone, " ")
		lines, rows = lines+max(n, who, call), rows+1
	}
	for _, l := range s.Lines {
		who := ""
		if s.Rows {
			who = l.Who
		}
		lines += max(of(skillChars, l.Skill, l.Target), of(workChars, l.Run, l.Name, l.Code, l.What, who, l.Part, "     "))
		rows++
	}
	for _, x := range s.Drops {
		lines, rows = lines+of(acrossChars*3/5, x.Reason, x.Would), rows+1
	}
	if len(s.Drops) > 0 {
		lines += 3
	}
	lines += of(acrossChars, foot...) // printed as one paragraph
	letter := at.points * pointMM
	return letter*(at.leading*float64(lines)+rowLetters*float64(rows)+headLetters) + rowMM*float64(rows)
}
