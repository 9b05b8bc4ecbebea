package allocation

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
)

// WriteProblem writes p as the JSON that ReadProblem reads, a dog a line. Optional fields that say nothing are left out.
func WriteProblem(w io.Writer, p *Problem) error {
	o := &problemWriter{w: bufio.NewWriterSize(w, 1<<16)}
	name, err := json.Marshal(p.Name)
	if err != nil {
		return fmt.Errorf("write the problem's name: %w", err)
	}
	o.text(`{"format":"` + fileFormat + `","version":` + strconv.Itoa(fileVersion) + `,"name":` + string(name) + `,"days":`)
	o.number(p.Days)
	o.text(",\n\"sites\":[")
	each(o, len(p.Sites), func(i int) { o.site(&p.Sites[i]) })
	o.text("],\n\"trainers\":[")
	each(o, len(p.Trainers), func(i int) { o.trainer(&p.Trainers[i]) })
	if len(p.Together) > 0 {
		o.text("],\n\"together\":[")
		each(o, len(p.Together), func(i int) { o.numbers(p.Together[i]) })
	}
	o.text("],\n\"dogs\":[")
	each(o, len(p.Dogs), func(i int) {
		o.text("\n")
		o.dog(&p.Dogs[i])
	})
	o.text("]}\n")
	if err := o.w.Flush(); err != nil {
		return fmt.Errorf("write the problem: %w", err)
	}
	return nil
}

// problemWriter leaves errors to the buffer, which keeps the first one until Flush.
type problemWriter struct {
	w   *bufio.Writer
	num []byte
}

func (o *problemWriter) text(s string) { o.w.WriteString(s) }

func (o *problemWriter) number(n int) {
	o.num = strconv.AppendInt(o.num[:0], int64(n), 10)
	o.w.Write(o.num)
}

func each(o *problemWriter, n int, item func(i int)) {
	for i := range n {
		if i > 0 {
			o.text(",")
		}
		item(i)
	}
}

func (o *problemWriter) numbers(v []int) {
	o.text("[")
	each(o, len(v), func(i int) { o.number(v[i]) })
	o.text("]")
}

func (o *problemWriter) site(s *Site) {
	name, _ := json.Marshal(s.Name) // a string always marshals
	o.text(`{"name":` + string(name) + `,"runs":[`)
	each(o, len(s.Runs), func(i int) {
		class, _ := json.Marshal(s.Runs[i].Class)
		o.text(`{"class":` + string(class) + `,"capacity":`)
		o.numbers(s.Runs[i].Capacity)
		o.text("}")
	})
	o.text(`],"intake":`)
	o.numbers(s.Intake)
	o.text(`,"handover":`)
	o.numbers(s.Handover)
	if s.Minutes != nil {
		o.text(`,"minutes":`)
		o.numbers(s.Minutes)
	}
	if s.CleanDown != 0 {
		o.text(`,"clean_down":`)
		o.number(s.CleanDown)
	}
	o.easy("easy_intake", s.EasyIntake)
	o.easy("easy_handover", s.EasyHandover)
	o.easy("easy_minutes", s.EasyMinutes)
	o.text("}")
}

// easy writes a soft level, if there is one.
func (o *problemWriter) easy(field string, e *Easy) {
	if e == nil {
		return
	}
	o.text(`,"` + field + `":{"upto":`)
	o.numbers(e.Upto)
	o.text(`,"over":`)
	o.number(e.Over)
	if e.Unit != 0 {
		o.text(`,"unit":`)
		o.number(e.Unit)
	}
	o.text("}")
}

func (o *problemWriter) trainer(t *Trainer) {
	o.text(`{"site":`)
	o.number(t.Site)
	o.text(`,"works":[`)
	each(o, len(t.Works), func(i int) {
		if t.Works[i] {
			o.text("1")
		} else {
			o.text("0")
		}
	})
	o.text(`],"minutes":`)
	o.numbers(t.Minutes)
	o.text(`,"dogs":`)
	o.numbers(t.Dogs)
	o.easy("easy", t.Easy)
	o.text("}")
}

func (o *problemWriter) dog(d *Dog) {
	o.text(`{"nights":`)
	o.number(d.Nights)
	o.text(`,"placements":[`)
	each(o, len(d.Placements), func(i int) { o.group(&d.Placements[i]) })
	o.text("]}")
}

func (o *problemWriter) group(g *Group) {
	o.text(`{"site":`)
	o.number(g.Site)
	o.text(`,"arrival":`)
	o.number(g.Arrival)
	o.text(`,"value":`)
	o.number(g.Value)
	o.text(`,"runs":[`)
	each(o, len(g.Runs), func(i int) { o.numbers([]int{g.Runs[i].Class, g.Runs[i].Penalty}) })
	o.text(`],"trainers":[`)
	each(o, len(g.Trainers), func(i int) {
		t := g.Trainers[i]
		entry := []int{t.Trainer, t.Penalty, t.Minutes, t.Cover}
		if t.Cover == 0 {
			entry = entry[:3]
		}
		o.numbers(entry)
	})
	o.text("]}")
}
