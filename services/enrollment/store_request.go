package enrollment

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// requestLine is a request with the names that people know its dog and program by.
type requestLine struct {
	Request
	Together    calendar.Span `db:"together"`
	DogCode     string        `db:"dog_code"`
	DogName     string        `db:"dog_name"`
	ProgramCode string        `db:"program_code"`
	Nights      int           `db:"nights"`
}

// selectRequests reads request lines. The household's days are those that all its open requests share, whatever the condition
// that follows picks: "empty" when there are none.
const selectRequests = `
	with household as (
	  select household, range_intersect_agg(window_days) as days
	  from enrollment.request where state = 'open' and household <> '' group by household)
	select r.id, r.code, r.dog_id, r.program_id, r.window_days::text as window_days, r.wished, r.priority, r.deposit, r.asked_on, r.household, r.state, r.note,
	       (case when r.state = 'open' then coalesce(h.days, r.window_days) else r.window_days end)::text as together,
	       d.code as dog_code, d.name as dog_name, p.code as program_code, p.nights
	from enrollment.request r
	join enrollment.dog d on d.id = r.dog_id
	join enrollment.program p on p.id = r.program_id
	left join household h on h.household = r.household `

// listRequests returns the request lines of a month, or of all times when month is absent, by code, with their sites.
func listRequests(ctx context.Context, db postgres.DB, month calendar.Month, withWithdrawn bool) ([]requestLine, error) {
	lines, err := postgres.List[requestLine](ctx, db, "list requests", selectRequests+`
		where ($1::daterange is null or r.window_days && $1) and ($2 or r.state = 'open') order by r.code`, month.Span(), withWithdrawn)
	if err != nil {
		return nil, err
	}
	return lines, addSites(ctx, db, lines)
}

// findRequest returns the request with a code. It returns NotFound when there is none.
func findRequest(ctx context.Context, db postgres.DB, code string) (requestLine, error) {
	line, err := postgres.One[requestLine](ctx, db, "find a request", selectRequests+`where r.code = $1`, code)
	if postgres.NoRows(err) {
		return requestLine{}, apperr.NotFoundf("REQUEST_UNKNOWN", "there is no request with the code %q: `longlead export requests` lists them", code)
	}
	if err != nil {
		return requestLine{}, err
	}
	lines := []requestLine{line}
	err = addSites(ctx, db, lines)
	return lines[0], err
}

// addSites reads the sites of the requests into them.
func addSites(ctx context.Context, db postgres.DB, lines []requestLine) error {
	at := make(map[ids.RequestID]int, len(lines))
	requests := make([]ids.RequestID, len(lines))
	for i, line := range lines {
		at[line.ID], requests[i] = i, line.ID
	}
	sites, err := postgres.List[requestSite](ctx, db, "list sites of requests", `
		select request_id, site_id, travel_minutes from enrollment.request_site
		where request_id = any($1) order by request_id, site_id`, requests)
	for _, s := range sites {
		to := &lines[at[s.RequestID]].Request
		to.Sites = append(to.Sites, s.SiteChoice)
	}
	return err
}

// ListCases returns every open request whose window touches the month, with all that is known of its dog, by code. It takes a
// fixed number of queries; run it in postgres.ReadTx so that they agree.
func ListCases(ctx context.Context, db postgres.DB, month calendar.Month) ([]Case, error) {
	lines, err := listRequests(ctx, db, month, false)
	if err != nil {
		return nil, err
	}
	return fillCases(ctx, db, lines)
}

// ListCasesByRequest is ListCases for these requests, whatever their state and window. One that is unknown is absent.
func ListCasesByRequest(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]Case, error) {
	lines, err := postgres.List[requestLine](ctx, db, "list requests by ID", selectRequests+`where r.id = any($1) order by r.code`, requests)
	if err != nil {
		return nil, err
	}
	if err := addSites(ctx, db, lines); err != nil {
		return nil, err
	}
	return fillCases(ctx, db, lines)
}

// ListRequestsByCode returns the requests that bear a code, or whose dog does.
func ListRequestsByCode(ctx context.Context, db postgres.DB, code string) ([]ids.RequestID, error) {
	type row struct {
		ID ids.RequestID `db:"id"`
	}
	rows, err := postgres.List[row](ctx, db, "list requests by code", `
		select r.id from enrollment.request r join enrollment.dog d on d.id = r.dog_id where r.code = $1 or d.code = $1 order by r.id`, code)
	found := make([]ids.RequestID, len(rows))
	for i, r := range rows {
		found[i] = r.ID
	}
	return found, err
}

// fillCases reads what is known of the dogs of the requests.
func fillCases(ctx context.Context, db postgres.DB, lines []requestLine) ([]Case, error) {
	if len(lines) == 0 {
		return nil, nil
	}
	programs, err := ListPrograms(ctx, db)
	if err != nil {
		return nil, err
	}
	program := make(map[ids.ProgramID]Program, len(programs))
	for _, p := range programs {
		program[p.ID] = p
	}
	of := make([]ids.DogID, len(lines))
	for i, line := range lines {
		of[i] = line.DogID
	}
	dogs, err := ListDogsByID(ctx, db, of)
	if err != nil {
		return nil, err
	}
	shots, err := listShots(ctx, db, of)
	if err != nil {
		return nil, err
	}
	answers, err := listAnswersOf(ctx, db, of)
	if err != nil {
		return nil, err
	}
	overrides, err := listLatestOverrides(ctx, db, of)
	if err != nil {
		return nil, err
	}
	cases := make([]Case, len(lines))
	for i, line := range lines {
		cases[i] = Case{Request: line.Request, Together: line.Together, Dog: dogs[line.DogID], Program: program[line.ProgramID],
			Shots: shots[line.DogID], Answers: answers[line.DogID], Override: overrides[line.DogID]}
	}
	return cases, nil
}

// withdraw takes a request off the list; one that is off it stays so. It returns NotFound for an unknown code.
func withdraw(ctx context.Context, tx postgres.Tx, code string) error {
	done, err := tx.Exec(ctx, `update enrollment.request set state = 'withdrawn' where code = $1`, code)
	if err != nil {
		return fmt.Errorf("withdraw request %s: %w", code, err)
	}
	if done.RowsAffected() == 0 {
		return apperr.NotFoundf("REQUEST_UNKNOWN", "there is no request with the code %q: `longlead export requests` lists them", code)
	}
	return nil
}

// knownRequest is what a new request is compared with.
type knownRequest struct {
	Code      string        `db:"code"`
	DogID     ids.DogID     `db:"dog_id"`
	Days      calendar.Span `db:"window_days"`
	Nights    int           `db:"nights"`
	Household string        `db:"household"`
	State     string        `db:"state"`
}

// lockRequests lets one transaction at a time compare requests with each other and write them. Others may read meanwhile.
func lockRequests(ctx context.Context, tx postgres.Tx) error {
	if _, err := tx.Exec(ctx, `lock table enrollment.request in share row exclusive mode`); err != nil {
		return fmt.Errorf("lock requests: %w", err)
	}
	return nil
}

// listKnown returns the requests with these codes and the open ones of these dogs and households.
func listKnown(ctx context.Context, db postgres.DB, codes []string, dogs []ids.DogID, households []string) ([]knownRequest, error) {
	return postgres.List[knownRequest](ctx, db, "list known requests", `
		select r.code, r.dog_id, r.window_days::text as window_days, p.nights, r.household, r.state
		from enrollment.request r join enrollment.program p on p.id = r.program_id
		where r.code = any($1)
		   or r.state = 'open' and (r.dog_id = any($2) or r.household <> '' and r.household = any($3))
		order by r.code`, codes, dogs, households)
}

// requestRow is a row of enrollment.request on its way in.
type requestRow struct {
	ID          ids.RequestID `json:"id"`
	Code        string        `json:"code"`
	DogID       ids.DogID     `json:"dog_id"`
	ProgramID   ids.ProgramID `json:"program_id"`
	WindowFirst calendar.Date `json:"window_first"`
	WindowLast  calendar.Date `json:"window_last"`
	Wished      calendar.Date `json:"wished"`
	Priority    int           `json:"priority"`
	Deposit     bool          `json:"deposit"`
	AskedOn     calendar.Date `json:"asked_on"`
	Household   string        `json:"household"`
	State       string        `json:"state"`
	Note        string        `json:"note"`
}

// putRequests inserts requests, or updates those whose code is known.
func putRequests(ctx context.Context, tx postgres.Tx, requests []requestRow) error {
	return putRows(ctx, tx, "requests", `
		insert into enrollment.request (id, code, dog_id, program_id, window_days, wished, priority, deposit, asked_on, household, state, note)
		select id, code, dog_id, program_id, daterange(window_first, window_last, '[]'), nullif(wished, '')::date, priority, deposit,
		  asked_on, household, state, note
		from jsonb_to_recordset($1) as r(id uuid, code text, dog_id uuid, program_id uuid, window_first date, window_last date, wished text,
		  priority int, deposit boolean, asked_on date, household text, state text, note text)
		on conflict on constraint request_code_key do update set dog_id = excluded.dog_id, program_id = excluded.program_id,
		  window_days = excluded.window_days, wished = excluded.wished, priority = excluded.priority, deposit = excluded.deposit,
		  asked_on = excluded.asked_on, household = excluded.household, state = excluded.state, note = excluded.note`, requests)
}

// RequestCodes maps the code of each request to its ID.
func RequestCodes(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list request codes", `select code, id from enrollment.request`)
}

// requestSite is a row of enrollment.request_site.
type requestSite struct {
	RequestID ids.RequestID `db:"request_id" json:"request_id"`
	SiteChoice
}

func putRequestSites(ctx context.Context, tx postgres.Tx, sites []requestSite) error {
	return putRows(ctx, tx, "sites of requests", `
		insert into enrollment.request_site (request_id, site_id, travel_minutes)
		select request_id, site_id, travel_minutes from jsonb_to_recordset($1) as r(request_id uuid, site_id uuid, travel_minutes int)
		on conflict on constraint request_site_pkey do update set travel_minutes = excluded.travel_minutes`, sites)
}

// listRequestSites returns every site that an owner accepts, by request code and site.
func listRequestSites(ctx context.Context, db postgres.DB) ([]requestSite, error) {
	return postgres.List[requestSite](ctx, db, "list all sites of requests", `
		select t.request_id, t.site_id, t.travel_minutes
		from enrollment.request_site t join enrollment.request r on r.id = t.request_id order by r.code, t.site_id`)
}

// listRequestLines returns every request by code, without its sites.
func listRequestLines(ctx context.Context, db postgres.DB) ([]requestLine, error) {
	return postgres.List[requestLine](ctx, db, "list all requests", selectRequests+`order by r.code`)
}
