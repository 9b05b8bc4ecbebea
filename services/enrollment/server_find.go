package enrollment

import (
	"cmp"
	"context"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"

	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
)

// usualPage is how many requests a page has when nobody says.
const usualPage = 50

// FindRequests lists one page of the requests that match.
func (s *Server) FindRequests(ctx context.Context, req *enrollmentv1.FindRequestsRequest) (*enrollmentv1.FindRequestsResponse, error) {
	look := search{words: wordsOf(req.GetFind()), standing: req.GetState(), limit: cmp.Or(int(req.GetLimit()), usualPage), offset: int(req.GetOffset())}
	if look.words == nil {
		look.words = []string{}
	}
	var (
		page   []found
		counts foundCounts
		sites  map[ids.SiteID]SiteRules
	)
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if sites, err = sitesByID(ctx, tx, s.deps.Sites); err != nil {
			return err
		}
		if look.site, err = siteOf(sites, req.GetSiteCode()); err != nil {
			return err
		}
		if look.promised, err = s.deps.Promised(ctx, tx); err != nil {
			return err
		}
		page, counts, err = findRequests(ctx, tx, look)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &enrollmentv1.FindRequestsResponse{Matching: int32(counts.of(look.standing)), Waiting: int32(counts.Waiting), Promised: int32(counts.Promised),
		Withdrawn: int32(counts.Withdrawn)}
	today := dayOf(s.deps.Now())
	for _, f := range page {
		out.Requests = append(out.Requests, &enrollmentv1.FoundRequest{Request: requestToProto(f.requestLine, sites), OwnerName: f.OwnerName, Standing: f.Standing,
			WaitingDays: int32(max(0, int(today.Sub(f.AskedOn))))})
	}
	return out, nil
}

// siteOf finds a site by its code; none for no code.
func siteOf(sites map[ids.SiteID]SiteRules, code string) (ids.SiteID, error) {
	if code == "" {
		return ids.SiteID{}, nil
	}
	for id, s := range sites {
		if s.Code == code {
			return id, nil
		}
	}
	return ids.SiteID{}, apperr.InvalidField("site_code", "is the code of no site", "choose one of the sites")
}

// record is all that is known of one dog.
type record struct {
	dog      Dog
	owner    Owner
	traits   Traits
	upkeep   Upkeep
	shots    []Shot
	answers  map[string]int
	apart    []apartOf
	requests []requestLine
	sites    map[ids.SiteID]SiteRules
	// newest is the case of the first of the requests; nil without one.
	newest *Case
}

// ReadDog reads all that is on record of a dog, in a fixed number of statements.
func (s *Server) ReadDog(ctx context.Context, req *enrollmentv1.ReadDogRequest) (*enrollmentv1.ReadDogResponse, error) {
	var r record
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		r = record{}
		if r.sites, err = sitesByID(ctx, tx, s.deps.Sites); err != nil {
			return err
		}
		return r.read(ctx, tx, req.GetDogCode())
	})
	if err != nil {
		return nil, err
	}
	return r.toProto()
}

func (r *record) read(ctx context.Context, tx postgres.Tx, code string) (err error) {
	if r.dog, err = findDog(ctx, tx, code); err != nil {
		return err
	}
	one := []ids.DogID{r.dog.ID}
	owners, err := ListOwnersByDog(ctx, tx, one)
	if err != nil {
		return err
	}
	traits, err := ListTraits(ctx, tx, one)
	if err != nil {
		return err
	}
	upkeep, err := ListUpkeep(ctx, tx, one)
	if err != nil {
		return err
	}
	shots, err := listShots(ctx, tx, one)
	if err != nil {
		return err
	}
	answers, err := listAnswersOf(ctx, tx, one)
	if err != nil {
		return err
	}
	r.owner, r.traits, r.upkeep, r.shots, r.answers = owners[r.dog.ID], traits[r.dog.ID], upkeep[r.dog.ID], shots[r.dog.ID], map[string]int{}
	for question, score := range answers[r.dog.ID] {
		r.answers[string(question)] = score
	}
	if r.apart, err = listApartOf(ctx, tx, r.dog.ID); err != nil {
		return err
	}
	if r.requests, err = listRequestsOf(ctx, tx, r.dog.ID); err != nil || len(r.requests) == 0 {
		return err
	}
	cases, err := fillCases(ctx, tx, r.requests[:1])
	if err == nil {
		r.newest = &cases[0]
	}
	return err
}
