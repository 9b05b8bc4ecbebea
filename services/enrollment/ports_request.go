package enrollment

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// longestWindow is the most days that an arrival window may have. A longer one is a slip of the pen, and would make every plan of
// a year look at it.
const longestWindow = 366

func requestsPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindRequests, About: "Requests of owners for programs", Key: []string{"code"}, Columns: []sheet.Column{
			{Name: "code", Form: sheet.FormCode, Required: true, Example: "R-2027-014", About: "short name used in other files"},
			{Name: "dog", Form: sheet.FormCode, Required: true, Refers: KindDogs, Example: "REX-LOWE", About: "code of the dog"},
			{Name: "program", Form: sheet.FormCode, Required: true, Refers: KindPrograms, Example: "MANNERS", About: "code of the program"},
			{Name: "window_first", Form: sheet.FormDay, Required: true, Example: "2027-03-01", About: "first possible arrival day"},
			{Name: "window_last", Form: sheet.FormDay, Required: true, Example: "2027-03-21", About: "last possible arrival day"},
			{Name: "wished", Form: sheet.FormDay, Example: "2027-03-08", About: "arrival day that suits best; empty when any does"},
			{Name: "priority", Form: sheet.FormWhole, Required: true, Min: 1, Max: 5, Example: "3", About: "1 (first) to 5"},
			{Name: "deposit", Form: sheet.FormYesNo, Required: true, Example: "yes", About: "whether a deposit is paid"},
			{Name: "asked_on", Form: sheet.FormDay, Required: true, Example: "2027-01-11", About: "day on which the owner asked"},
			{Name: "household", Form: sheet.FormText, Max: 60, Example: "LOWE-SPRING", About: "same word on requests whose dogs must come together on this visit"},
			{Name: "state", Form: sheet.FormChoice, OneOf: []string{StateOpen, StateWithdrawn}, Required: true, Example: "open", About: "open or withdrawn"},
			{Name: "note", Form: sheet.FormText, Max: 1000, Example: "back from abroad on the 20th", About: "anything else"},
		}},
		Check:    checkRequest,
		Together: true,
		Put:      putRequestRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			lines, err := listRequestLines(ctx, db)
			return records.Cells(lines, func(r requestLine) []string {
				return []string{r.Code, r.DogCode, r.ProgramCode, sheet.Day(r.Window.From), sheet.Day(r.Window.To.AddDays(-1)), sheet.Day(r.Wished),
					sheet.Int(r.Priority), sheet.YesNo(r.Deposit), sheet.Day(r.AskedOn), r.Household, r.State, r.Note}
			}), err
		},
		Codes: RequestCodes,
	}
}

func checkRequest(row records.Row) []records.Wrong {
	first, last, wished, asked := row.Day("window_first"), row.Day("window_last"), row.Day("wished"), row.Day("asked_on")
	switch {
	case last.Before(first):
		return []records.Wrong{row.Wrong("window_last", "is before the first arrival day", "write the last possible arrival day")}
	case last.Sub(first) >= longestWindow:
		return []records.Wrong{row.Wrong("window_last", fmt.Sprintf("makes a window of more than %d days", longestWindow), "check the year, or ask the owner for nearer days")}
	}
	var wrong []records.Wrong
	if !wished.IsZero() && (wished.Before(first) || wished.After(last)) {
		wrong = append(wrong, row.Wrong("wished", "is outside of the arrival window", "write a day of the window, or leave it empty"))
	}
	if asked.After(last) {
		wrong = append(wrong, row.Wrong("asked_on", "is after the last arrival day", "check both days"))
	}
	return wrong
}

func putRequestRows(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
	dogs, err := ListDogsByID(ctx, tx, dogsIn(rows))
	if err != nil {
		return nil, err
	}
	alive, bad := split(rows, func(row records.Row) coming { return coming{row, requestRowOf(ids.RequestID(in.Mint()), row)} },
		func(row records.Row, c coming) []records.Wrong {
			return lifeWrong(row, "window_first", c.WindowFirst, dogs[c.DogID].Born)
		})
	fits, wrong, err := enterRequests(ctx, tx, alive)
	if err != nil {
		return nil, err
	}
	return append(bad, wrong...), putRequests(ctx, tx, fits)
}

func requestRowOf(id ids.RequestID, row records.Row) requestRow {
	return requestRow{ID: id, Code: row.Text("code"), DogID: ids.DogID(row.Ref("dog")), ProgramID: ids.ProgramID(row.Ref("program")),
		WindowFirst: row.Day("window_first"), WindowLast: row.Day("window_last"), Wished: row.Day("wished"), Priority: row.Int("priority"),
		Deposit: row.Yes("deposit"), AskedOn: row.Day("asked_on"), Household: row.Text("household"), State: row.Text("state"), Note: row.Text("note")}
}

func requestSitesPort(sites Sites) records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindRequestSites, About: "Sites that owners accept", Key: []string{"request", "site"}, Columns: []sheet.Column{
			{Name: "request", Form: sheet.FormCode, Required: true, Refers: KindRequests, Example: "R-2027-014", About: "code of the request"},
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: kindSites, Example: "HILL", About: "code of a site that suits the owner"},
			{Name: "travel_minutes", Form: sheet.FormWhole, Required: true, Min: 0, Max: 1440, Example: "35", About: "travel from the owner's home, in minutes"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			choices := make([]requestSite, len(rows))
			for i, row := range rows {
				choices[i] = requestSite{RequestID: ids.RequestID(row.Ref("request")),
					SiteChoice: SiteChoice{SiteID: ids.SiteID(row.Ref("site")), TravelMinutes: row.Int("travel_minutes")}}
			}
			return nil, putRequestSites(ctx, tx, choices)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			choices, err := listRequestSites(ctx, db)
			if err != nil {
				return nil, err
			}
			site, err := sitesByID(ctx, db, sites)
			if err != nil {
				return nil, err
			}
			requests, err := RequestCodes(ctx, db)
			request := namesOf[ids.RequestID](requests)
			// The query orders by request; the codes of sites are not in its tables.
			slices.SortStableFunc(choices, func(a, b requestSite) int {
				if a.RequestID != b.RequestID {
					return 0
				}
				return strings.Compare(site[a.SiteID].Code, site[b.SiteID].Code)
			})
			return records.Cells(choices, func(c requestSite) []string {
				return []string{request[c.RequestID], site[c.SiteID].Code, sheet.Int(c.TravelMinutes)}
			}), err
		},
	}
}
