package enrollment

import (
	"context"
	"strings"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// search says which requests are looked for.
type search struct {
	// words must all be found; in small letters.
	words []string
	// site is one that the owner accepts; the zero ID for any.
	site ids.SiteID
	// standing is waiting, promised or withdrawn; empty for all.
	standing string
	// promised are the requests that have a stay.
	promised      []ids.RequestID
	limit, offset int
}

// found is a request of a page.
type found struct {
	requestLine
	OwnerName string `db:"owner_name"`
	Standing  string `db:"standing"`
}

// foundCounts counts what matches words and site, by standing.
type foundCounts struct {
	Waiting   int `db:"waiting"`
	Promised  int `db:"promised"`
	Withdrawn int `db:"withdrawn"`
}

func (c foundCounts) of(standing string) int {
	switch standing {
	case standingWaiting:
		return c.Waiting
	case standingPromised:
		return c.Promised
	case StateWithdrawn:
		return c.Withdrawn
	}
	return c.Waiting + c.Promised + c.Withdrawn
}

// Standings of a request in a list, beside StateWithdrawn.
const (
	standingWaiting  = "waiting"
	standingPromised = "promised"
)

// matching picks requests by words and site and says how each stands: $1 words, $2 site, $3 promised requests. A telephone number is compared by its
// digits with words of four digits and more; position() knows no wildcards, so a word may hold anything.
const matching = `
	with hits as (
	  select r.id, r.asked_on, r.code, o.name as owner_name,
	         case when r.id = any($3) then 'promised' when r.state = 'withdrawn' then 'withdrawn' else 'waiting' end as standing
	  from enrollment.request r
	  join enrollment.dog d on d.id = r.dog_id
	  join enrollment.owner o on o.id = d.owner_id
	  where ($2::uuid is null or exists (select from enrollment.request_site t where t.request_id = r.id and t.site_id = $2))
	    and not exists (
	      select from unnest($1::text[]) w
	      where position(w in lower(r.code)) = 0 and position(w in lower(d.code)) = 0 and position(w in lower(d.name)) = 0
	        and position(w in lower(o.name)) = 0
	        and (length(regexp_replace(w, '\D', '', 'g')) < 4 or w ~ '[a-z]' or position(regexp_replace(w, '\D', '', 'g') in regexp_replace(o.phone, '\D', '', 'g')) = 0)))`

// findRequests returns one page, who asked first first, and the counts of all that match words and site.
func findRequests(ctx context.Context, db postgres.DB, s search) ([]found, foundCounts, error) {
	var site *uuid.UUID
	if s.site != (ids.SiteID{}) {
		id := s.site.UUID()
		site = &id
	}
	counts, err := postgres.One[foundCounts](ctx, db, "count found requests", matching+`
		select count(*) filter (where standing = 'waiting') as waiting, count(*) filter (where standing = 'promised') as promised,
		       count(*) filter (where standing = 'withdrawn') as withdrawn from hits`, s.words, site, s.promised)
	if err != nil {
		return nil, counts, err
	}
	page, err := postgres.List[found](ctx, db, "find requests", matching+`
		select r.id, r.code, r.dog_id, r.program_id, r.window_days::text as window_days, r.wished, r.priority, r.deposit, r.asked_on, r.household, r.state, r.note,
		       r.window_days::text as together, d.code as dog_code, d.name as dog_name, p.code as program_code, p.nights, h.owner_name, h.standing
		from (select * from hits where $4 = '' or standing = $4 order by standing = 'withdrawn', asked_on, code limit $5 offset $6) h
		join enrollment.request r on r.id = h.id
		join enrollment.dog d on d.id = r.dog_id
		join enrollment.program p on p.id = r.program_id
		order by h.standing = 'withdrawn', r.asked_on, r.code`, s.words, site, s.promised, s.standing, s.limit, s.offset)
	if err != nil {
		return nil, counts, err
	}
	lines := make([]requestLine, len(page))
	for i := range page {
		lines[i] = page[i].requestLine
	}
	if err := addSites(ctx, db, lines); err != nil {
		return nil, counts, err
	}
	for i := range page {
		page[i].requestLine = lines[i]
	}
	return page, counts, nil
}

// wordsOf cuts what somebody looks for into words. Digits that stand apart, as in a telephone number, are taken together.
func wordsOf(find string) []string {
	find = strings.ToLower(strings.TrimSpace(find))
	if digits := strings.NewReplacer(" ", "", "-", "", "(", "", ")", "", "+", "", ".", "", "/", "").Replace(find); len(digits) >= 4 && strings.Trim(digits, "0123456789") == "" {
		return []string{digits}
	}
	return strings.Fields(find)
}

// RequestsByCode maps these codes to requests; one that is unknown is absent.
func RequestsByCode(ctx context.Context, db postgres.DB, codes []string) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list requests by codes", `select code, id from enrollment.request where code = any($1)`, codes)
}

// apartOf is another dog that one must not meet.
type apartOf struct {
	Code   string `db:"code"`
	Name   string `db:"name"`
	Reason string `db:"reason"`
}

func listApartOf(ctx context.Context, db postgres.DB, dog ids.DogID) ([]apartOf, error) {
	return postgres.List[apartOf](ctx, db, "list dogs that a dog must not meet", `
		select d.code, d.name, a.reason from enrollment.apart a join enrollment.dog d on d.id = case when a.dog_id = $1 then a.other_id else a.dog_id end
		where a.dog_id = $1 or a.other_id = $1 order by d.code`, dog)
}

// listRequestsOf returns the requests for a dog, the latest window first, with their sites.
func listRequestsOf(ctx context.Context, db postgres.DB, dog ids.DogID) ([]requestLine, error) {
	lines, err := postgres.List[requestLine](ctx, db, "list requests of a dog", selectRequests+`where r.dog_id = $1 order by lower(r.window_days) desc, r.code`, dog)
	if err != nil {
		return nil, err
	}
	return lines, addSites(ctx, db, lines)
}
