package enrollment

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
)

// book holds the open requests that a file of requests is compared with: those of its dogs and households, and those that it
// has entered itself. It keeps rules that look at more than one request:
//
//   - a request stays with its dog;
//   - a dog has no two open requests whose possible stays share a day, as it cannot be in two runs;
//   - the windows of a household's open requests share a day, as its dogs come together.
type book struct {
	nights map[ids.ProgramID]int
	// known are the stored requests of the codes in the file.
	known map[string]knownRequest
	// byDog and byHousehold hold open requests only.
	byDog       map[ids.DogID][]knownRequest
	byHousehold map[string][]knownRequest
}

// openBook reads what the rows are compared with.
func openBook(ctx context.Context, tx postgres.Tx, rows []records.Row) (*book, error) {
	programs, err := ListPrograms(ctx, tx)
	if err != nil {
		return nil, err
	}
	b := &book{nights: map[ids.ProgramID]int{}, known: map[string]knownRequest{}, byDog: map[ids.DogID][]knownRequest{},
		byHousehold: map[string][]knownRequest{}}
	for _, p := range programs {
		b.nights[p.ID] = p.Nights
	}
	codes, households, inFile := make([]string, 0, len(rows)), []string{}, make(map[string]bool, len(rows))
	for _, row := range rows {
		codes = append(codes, row.Text("code"))
		inFile[row.Text("code")] = true
		if h := row.Text("household"); h != "" {
			households = append(households, h)
		}
	}
	known, err := listKnown(ctx, tx, codes, dogsIn(rows), households)
	if err != nil {
		return nil, err
	}
	for _, k := range known {
		if inFile[k.Code] {
			b.known[k.Code] = k
			continue // its row decides what it is from now on
		}
		b.add(k)
	}
	return b, nil
}

func (b *book) add(k knownRequest) {
	b.byDog[k.DogID] = append(b.byDog[k.DogID], k)
	if k.Household != "" {
		b.byHousehold[k.Household] = append(b.byHousehold[k.Household], k)
	}
}

// enter takes a row in, or says what is wrong with it.
func (b *book) enter(row records.Row, r requestRow) []records.Wrong {
	k := knownRequest{Code: r.Code, DogID: r.DogID, Days: calendar.Span{From: r.WindowFirst, To: r.WindowLast.AddDays(1)},
		Nights: b.nights[r.ProgramID], Household: r.Household, State: r.State}
	wrong := b.compare(row, k)
	switch before, stored := b.known[k.Code]; {
	case len(wrong) == 0 && k.State == StateOpen:
		b.add(k)
	case len(wrong) > 0 && stored && before.State == StateOpen:
		b.add(before) // what is stored stands
	}
	return wrong
}

func (b *book) compare(row records.Row, k knownRequest) []records.Wrong {
	if before, stored := b.known[k.Code]; stored && before.DogID != k.DogID {
		return []records.Wrong{row.Wrong("dog", "is not the dog that this request was made for",
			"withdraw the request and enter a new one with another code")}
	}
	if k.State != StateOpen {
		return nil
	}
	for _, other := range b.byDog[k.DogID] {
		if k.presence().Overlaps(other.presence()) {
			return []records.Wrong{row.Wrong("dog", fmt.Sprintf("has another open request, %s, whose stay could fall on the same days", other.Code),
				"withdraw one of them, or narrow the windows until the stays cannot meet")}
		}
	}
	shared := k.Days
	for _, other := range b.byHousehold[k.Household] {
		both, ok := shared.Intersect(other.Days)
		if !ok {
			return []records.Wrong{row.Wrong("household", fmt.Sprintf("has request %s with no arrival day in common, and its dogs must come together", other.Code),
				"widen a window, or use another word for another visit")}
		}
		shared = both
	}
	return nil
}

// presence holds every night on which the dog could be here.
func (k knownRequest) presence() calendar.Span {
	return calendar.Span{From: k.Days.From, To: k.Days.To.AddDays(-1 + k.Nights)}
}
