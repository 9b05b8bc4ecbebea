package daysheet

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
)

//go:embed page.html
var pageText string

//go:embed page.css
var pageStyle string

var pageTemplate = template.Must(template.New("page").Parse(pageText))

// Paper is a size of paper, as @page names it.
type Paper string

// The sizes of paper.
const (
	PaperA4     Paper = "A4"
	PaperLetter Paper = "Letter"
)

// styleFor is the style of a page for a size of paper.
func styleFor(p Paper) string {
	return strings.TrimSpace(pageStyle) + "\n@page { size: " + strings.ToLower(string(p)) + " portrait; margin: 9mm }\n"
}

// pagePolicy is the Content-Security-Policy of a page: nothing is loaded and nothing runs, and the one style is known by its digest.
func pagePolicy(p Paper) string {
	sum := sha256.Sum256([]byte(styleFor(p)))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
}

// page is what the template shows. Everything in it but Style is text, which the template escapes.
type page struct {
	Title  string
	Style  template.HTML
	Sheets []pageSheet
	Foot   []string
}

type pageSheet struct {
	ID, Heading, Sub string
	// Dense is an index of sizes: the more there is on a sheet, the smaller it is printed.
	Dense int
	Dogs  []pageDog
	// Withheld says that there are no contacts to show.
	Withheld bool
	Rows     bool
	Lines    []pageLine
	Drops    []pageDrop
}

type pageDog struct {
	Run, Code, Name, Stay string
	Cautions              []pageCaution
	Vet, Owner            pageContact
}

type pageCaution struct {
	About, Text string
	// Grave cautions stand out.
	Grave bool
}

type pageContact struct {
	Name, Phone string
	// Dial is the number as an address; empty where the phone holds no number.
	Dial template.URL
}

type pageLine struct {
	Starts, Ends, Run, Code, Name, What, Who, Part, Area, Skill, Target string
}

type pageDrop struct {
	Dog, Name     string
	Session       int
	Skill         string
	Reason, Would string
}

// writePage writes the sheets as a page that prints each on a page of its own.
func writePage(out io.Writer, d *Day, paper Paper) error {
	p := page{Title: fmt.Sprintf("Day sheets, %s, %s", d.SiteName, d.dateWords()),
		Style: template.HTML("<style>" + styleFor(paper) + "</style>"), Foot: d.footWords()}
	for _, x := range d.Trainers {
		s := d.pageSheet(x.Dogs, x.Lines, x.Drops, x.Code)
		s.ID, s.Heading = fmt.Sprintf("sheet-%d", len(p.Sheets)+1), x.Code+" "+x.Name
		s.Sub = fmt.Sprintf("%s, %s, %s, times of %s", d.SiteName, d.dateWords(), x.hours(), d.Zone)
		p.Sheets = append(p.Sheets, s)
	}
	for _, x := range d.Rows {
		s := d.pageSheet(x.Dogs, x.Lines, x.Drops, "")
		s.ID, s.Heading = fmt.Sprintf("sheet-%d", len(p.Sheets)+1), "Row "+x.Row
		s.Sub = fmt.Sprintf("%s, %s, times of %s", d.SiteName, d.dateWords(), d.Zone)
		p.Sheets = append(p.Sheets, s)
	}
	for i := range p.Sheets {
		p.Sheets[i].Dense = density(&p.Sheets[i], p.Foot, paper)
	}
	if err := pageTemplate.Execute(out, p); err != nil {
		return fmt.Errorf("write the page of day sheets: %w", err)
	}
	return nil
}

// pageSheet is the sheet of a trainer, or of a row where whose is empty.
func (d *Day) pageSheet(dogs []string, lines []Line, drops []Drop, whose string) pageSheet {
	s := pageSheet{Withheld: d.Withheld, Rows: whose == ""}
	for _, code := range dogs {
		dog := d.dog(code)
		one := pageDog{Run: dog.Run, Code: dog.Code, Name: dog.Name, Stay: dog.stayWords(), Vet: contactOf(dog.Vet), Owner: contactOf(dog.Owner)}
		for _, c := range dog.Cautions {
			one.Cautions = append(one.Cautions, pageCaution{c.About, c.Text, grave[c.About]})
		}
		s.Dogs = append(s.Dogs, one)
	}
	for _, l := range lines {
		one := pageLine{Starts: l.Starts, Ends: l.Ends, What: l.whatWords(), Area: l.Area, Skill: l.SkillName, Target: l.Target, Who: l.whoWords(),
			Part: l.partWords(whose)}
		if l.Dog != "" {
			dog := d.dog(l.Dog)
			one.Run, one.Code, one.Name = dog.Run, dog.Code, dog.Name
		}
		s.Lines = append(s.Lines, one)
	}
	for _, x := range drops {
		s.Drops = append(s.Drops, pageDrop{x.Dog, d.dog(x.Dog).Name, x.Session, x.SkillName, x.Reason, x.Remedy})
	}
	return s
}

// grave says which cautions stand out: those by which somebody gets hurt.
var grave = map[string]bool{AboutAbsent: true, AboutIsolated: true, AboutWatch: true, AboutTwo: true, AboutBite: true, AboutApart: true, AboutMedicine: true, AboutSeason: true}

func contactOf(c Contact) pageContact {
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '+' {
			return r
		}
		return -1
	}, c.Phone)
	out := pageContact{Name: c.Name, Phone: c.Phone}
	if digits != "" {
		out.Dial = template.URL("tel:" + digits) // digits and plus signs only
	}
	return out
}
