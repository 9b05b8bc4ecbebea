// Package console is the pages that people of a school work in. Each folder below is what one kind of person decides or does:
//
//	door       sign in and out, one's own password, the first page
//	months     next month: load against capacity, drafts, what a pinned placement costs, publishing
//	today      a site's day: who is here, sessions by trainer and area, absence, closure, heat and what mending them changes
//	rounds     a trainer's own day on a phone: cautions, now and next, logging, without a connection too
//	dogs       one dog: stay, ladder, readiness, cautions, vaccines, history
//	requests   enter, bring in, search and answer requests
//	handovers  a day of appointments with owners
//	letters    what owners were written, and the words that letters are made from
//	setup      records of the school, policy, rules
//	people     who may sign in, and what they may do
//
// What they all stand in is package frame. Pages know services by their calls alone and no table.
package console

import (
	"slices"

	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/console/dogs"
	"github.com/longlead/longlead/services/console/door"
	"github.com/longlead/longlead/services/console/frame"
	"github.com/longlead/longlead/services/console/handovers"
	"github.com/longlead/longlead/services/console/letters"
	"github.com/longlead/longlead/services/console/months"
	"github.com/longlead/longlead/services/console/people"
	"github.com/longlead/longlead/services/console/requests"
	"github.com/longlead/longlead/services/console/rounds"
	"github.com/longlead/longlead/services/console/setup"
	"github.com/longlead/longlead/services/console/today"
	"github.com/longlead/longlead/services/rpc"
)

// Console is all pages. Make it with New.
type Console struct {
	frame *frame.Frame
}

// New puts the pages into one frame.
func New(d frame.Deps) *Console { return &Console{frame: frame.New(d, sections())} }

// sections are the words of the bar, in the order of a school's work.
func sections() []frame.Section {
	return []frame.Section{
		months.Section(),
		today.Section(),
		rounds.Section(),
		requests.Section(),
		handovers.Section(),
		letters.Section(),
		setup.Section(),
		people.Section(),
	}
}

// Pages are the addresses of the console.
func (c *Console) Pages(conn *grpc.ClientConn) []rpc.Page {
	return c.frame.Mount(conn, slices.Concat(
		door.Pages(),
		months.Pages(),
		today.Pages(),
		rounds.Pages(),
		requests.Pages(),
		handovers.Pages(),
		letters.Pages(),
		dogs.Pages(),
		setup.Pages(),
		people.Pages(),
	)...)
}
