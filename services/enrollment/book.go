package enrollment

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
)

// coming is a request of a file, with its row.
type coming struct {
	row records.Row
	requestRow
}

// enterRequests keeps the rules that look at more than one request, stored or coming:
//
//   - a request stays with its dog;
//   - a dog has no two open requests whose possible stays share a day, as it cannot be in two runs;
//   - the windows of a household's open requests share a day, as its dogs come together.
//
// It returns the requests that keep them, and what is wrong with the others. A request replaces the stored one with its code.
// When it is refused the stored one stands, and may be in the way of a request that was let through before: so the whole is
// done again until nothing changes.
func enterRequests(ctx context.Context, tx postgres.Tx, all []coming) (fits []requestRow, wrong []records.Wrong, err error) {
	if err := lockRequests(ctx, tx); err != nil {
		return nil, nil, err
	}
	stored, err := storedBeside(ctx, tx, all)
	if err != nil {
		return nil, nil, err
	}
	programs, err := ListPrograms(ctx, tx)
	if err != nil {
		return nil, nil, err
	}
	nights := make(map[ids.ProgramID]int, len(programs))
	for _, p := range programs {
		nights[p.ID] = p.Nights
	}
	refused := map[int]records.Wrong{}
	for again := true; again; {
		again = false
		b := newBook(stored, all, refused)
		fits = fits[:0]
		for i, c := range all {
			if _, done := refused[i]; done {
				continue
			}
			k := c.known(nights[c.ProgramID])
			w, ok := b.compare(c.row, k)
			if ok {
				b.add(k)
				fits = append(fits, c.requestRow)
				continue
			}
			refused[i] = w
			_, replaces := b.stored[k.Code]
			again = again || replaces
		}
	}
	for i := range all {
		if w, ok := refused[i]; ok {
			wrong = append(wrong, w)
		}
	}
	return fits, wrong, nil
}

// storedBeside returns the stored requests that the coming ones are compared with.
func storedBeside(ctx context.Context, tx postgres.Tx, all []coming) ([]knownRequest, error) {
	codes, dogs, households := make([]string, len(all)), make([]ids.DogID, len(all)), []string{}
	for i, c := range all {
		codes[i], dogs[i] = c.Code, c.DogID
		if c.Household != "" {
			households = append(households, c.Household)
		}
	}
	return listKnown(ctx, tx, codes, dogs, households)
}

func (r requestRow) known(nights int) knownRequest {
	return knownRequest{Code: r.Code, DogID: r.DogID, Days: calendar.Span{From: r.WindowFirst, To: r.WindowLast.AddDays(1)},
		Nights: nights, Household: r.Household, State: r.State}
}

// presence holds every night on which the dog could be here.
func (k knownRequest) presence() calendar.Span {
	return calendar.Span{From: k.Days.From, To: k.Days.To.AddDays(k.Nights - 1)}
}

// book holds what one request is compared with: the stored request of its code, and the open requests of its dog and its household.
type book struct {
	stored      map[string]knownRequest
	byDog       map[ids.DogID][]knownRequest
	byHousehold map[string][]knownRequest
}

// newBook holds the stored requests that no coming one replaces; a coming one that was refused replaces none.
func newBook(stored []knownRequest, all []coming, refused map[int]records.Wrong) *book {
	b := &book{stored: map[string]knownRequest{}, byDog: map[ids.DogID][]knownRequest{}, byHousehold: map[string][]knownRequest{}}
	replaced := make(map[string]bool, len(all))
	for i, c := range all {
		if _, ok := refused[i]; !ok {
			replaced[c.Code] = true
		}
	}
	for _, k := range stored {
		b.stored[k.Code] = k
		if !replaced[k.Code] {
			b.add(k)
		}
	}
	return b
}

func (b *book) add(k knownRequest) {
	if k.State != StateOpen {
		return
	}
	b.byDog[k.DogID] = append(b.byDog[k.DogID], k)
	if k.Household != "" {
		b.byHousehold[k.Household] = append(b.byHousehold[k.Household], k)
	}
}

// compare says what is wrong with a request beside the others, or that it fits.
func (b *book) compare(row records.Row, k knownRequest) (records.Wrong, bool) {
	if before, known := b.stored[k.Code]; known && before.DogID != k.DogID {
		return row.Wrong("dog", "is not the dog that this request was made for",
			"withdraw the request and enter a new one with another code"), false
	}
	if k.State != StateOpen {
		return records.Wrong{}, true
	}
	for _, other := range b.byDog[k.DogID] {
		if k.presence().Overlaps(other.presence()) {
			return row.Wrong("dog", fmt.Sprintf("has another open request, %s, whose stay could fall on the same days", other.Code),
				"withdraw one of them, or narrow the windows until the stays cannot meet"), false
		}
	}
	// Days that overlap two by two have one in common, so each of the household is compared on its own.
	for _, other := range b.byHousehold[k.Household] {
		if !k.Days.Overlaps(other.Days) {
			return row.Wrong("household", fmt.Sprintf("has request %s with no arrival day in common, and its dogs must come together", other.Code),
				"widen a window, or use another word for another visit"), false
		}
	}
	return records.Wrong{}, true
}
