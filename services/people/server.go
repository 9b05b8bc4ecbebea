package people

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"

	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

// Codes lists the codes of a kind of thing that another service knows.
type Codes func(ctx context.Context, db postgres.DB) ([]string, error)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	Mint ids.Mint
	Now  func() time.Time
	// Caller names who makes a call.
	Caller func(context.Context) string
	// Sites and Trainers say which codes there are.
	Sites, Trainers Codes
}

// Server answers PeopleService.
type Server struct {
	peoplev1.UnsafePeopleServiceServer
	deps   Deps
	hasher hasher
}

var _ peoplev1.PeopleServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Mint == nil || d.Now == nil || d.Caller == nil || d.Sites == nil || d.Trainers == nil {
		panic("people.NewServer: all dependencies are required")
	}
	return &Server{deps: d, hasher: theHasher}
}

func (s *Server) now() time.Time { return s.deps.Now().UTC().Truncate(time.Microsecond) }

// ListPeople lists everybody.
func (s *Server) ListPeople(ctx context.Context, _ *peoplev1.ListPeopleRequest) (*peoplev1.ListPeopleResponse, error) {
	people, err := listPeople(ctx, s.deps.Pool)
	if err != nil {
		return nil, err
	}
	out := &peoplev1.ListPeopleResponse{}
	for _, p := range people {
		out.People = append(out.People, personToProto(p))
	}
	return out, nil
}

// AddPerson adds a person.
func (s *Server) AddPerson(ctx context.Context, req *peoplev1.AddPersonRequest) (*peoplev1.AddPersonResponse, error) {
	p := Person{ID: ids.PersonID(s.deps.Mint()), Login: CleanLogin(req.GetLogin()), Name: strings.TrimSpace(req.GetName()), Role: req.GetRole(), SiteCode: req.GetSiteCode(),
		TrainerCode: req.GetTrainerCode(), MustChange: !req.GetKeepPassword()}
	if err := p.check(); err != nil {
		return nil, err
	}
	hashed, made, err := s.choose(ctx, req.GetPassword(), p.Login, p.Name)
	if err != nil {
		return nil, err
	}
	now, by := s.now(), s.deps.Caller(ctx)
	var kept Listed
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if err := s.checkCodes(ctx, tx, p); err != nil {
			return err
		}
		if err := insertPerson(ctx, tx, p, hashed, now); err != nil {
			return err
		}
		if err := noteChange(ctx, tx, p.ID, now, "added", by, nil, &p); err != nil {
			return err
		}
		kept, err = findPerson(ctx, tx, p.Login, false)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &peoplev1.AddPersonResponse{Person: personToProto(kept), MadePassword: made}, nil
}

// choose checks and hashes a given password, or makes one and hashes that.
func (s *Server) choose(ctx context.Context, given, login, name string) (hashed, made string, err error) {
	if given == "" {
		made = MakePassword()
		given = made
	} else if err := checkPassword(given, login, name); err != nil {
		return "", "", err
	}
	hashed, err = s.hasher.hash(ctx, given)
	return hashed, made, err
}

// checkCodes refuses a site or trainer that is not there.
func (s *Server) checkCodes(ctx context.Context, tx postgres.Tx, p Person) error {
	for _, c := range []struct {
		path, what, code string
		known            Codes
	}{{"site_code", "site", p.SiteCode, s.deps.Sites}, {"trainer_code", "trainer", p.TrainerCode, s.deps.Trainers}} {
		if c.code == "" {
			continue
		}
		codes, err := c.known(ctx, tx)
		if err != nil {
			return err
		}
		if !slices.Contains(codes, c.code) {
			return apperr.InvalidField(c.path, fmt.Sprintf("names a %s %q that is not there", c.what, shorten(c.code)), "take one from the list, or leave it empty")
		}
	}
	return nil
}

// changed runs a change of one person under lock, notes it, and returns them as they are then. do changes the person that it is given.
func (s *Server) changed(ctx context.Context, login, what string, do func(tx postgres.Tx, p *Listed, now time.Time) error) (*peoplev1.Person, error) {
	now, by := s.now(), s.deps.Caller(ctx)
	var kept Listed
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		managers, err := lockManagers(ctx, tx)
		if err != nil {
			return err
		}
		before, err := findPerson(ctx, tx, login, true)
		if err != nil {
			return err
		}
		after := before
		if err := do(tx, &after, now); err != nil {
			return err
		}
		if err := oneRemains(managers, after); err != nil {
			return err
		}
		if err := noteChange(ctx, tx, before.ID, now, what, by, &before.Person, &after.Person); err != nil {
			return err
		}
		kept, err = findPerson(ctx, tx, login, false)
		return err
	})
	if err != nil {
		return nil, err
	}
	return personToProto(kept), nil
}

// oneRemains refuses a change that leaves nobody who could let people in.
func oneRemains(managers []Person, after Listed) error {
	was := slices.ContainsFunc(managers, func(m Person) bool { return m.ID == after.ID })
	stays := after.Role == Manager && after.DisabledAt == nil
	if was && !stays && len(managers) == 1 {
		return apperr.Preconditionf("LAST_MANAGER", "%s is the last manager who may sign in: make somebody else a manager first.", after.Name)
	}
	return nil
}

// ChangePerson sets who a person is.
func (s *Server) ChangePerson(ctx context.Context, req *peoplev1.ChangePersonRequest) (*peoplev1.ChangePersonResponse, error) {
	p, err := s.changed(ctx, req.GetLogin(), "changed", func(tx postgres.Tx, p *Listed, _ time.Time) error {
		p.Name, p.Role, p.SiteCode, p.TrainerCode = strings.TrimSpace(req.GetName()), req.GetRole(), req.GetSiteCode(), req.GetTrainerCode()
		if err := p.check(); err != nil {
			return err
		}
		if err := s.checkCodes(ctx, tx, p.Person); err != nil {
			return err
		}
		return keepPerson(ctx, tx, p.Person)
	})
	if err != nil {
		return nil, err
	}
	return &peoplev1.ChangePersonResponse{Person: p}, nil
}

// SetPassword gives a person another password.
func (s *Server) SetPassword(ctx context.Context, req *peoplev1.SetPasswordRequest) (*peoplev1.SetPasswordResponse, error) {
	known, err := findPerson(ctx, s.deps.Pool, req.GetLogin(), false)
	if err != nil {
		return nil, err
	}
	hashed, made, err := s.choose(ctx, req.GetPassword(), known.Login, known.Name)
	if err != nil {
		return nil, err
	}
	p, err := s.changed(ctx, req.GetLogin(), "password set", func(tx postgres.Tx, p *Listed, _ time.Time) error {
		p.MustChange = !req.GetKeepPassword()
		if err := keepPassword(ctx, tx, p.ID, hashed, p.MustChange); err != nil {
			return err
		}
		if err := clearAttempts(ctx, tx, loginKey(p.Login)); err != nil {
			return err
		}
		return deleteSessions(ctx, tx, p.ID, nil)
	})
	if err != nil {
		return nil, err
	}
	return &peoplev1.SetPasswordResponse{Person: p, MadePassword: made}, nil
}

// DisablePerson shuts a person out.
func (s *Server) DisablePerson(ctx context.Context, req *peoplev1.DisablePersonRequest) (*peoplev1.DisablePersonResponse, error) {
	p, err := s.changed(ctx, req.GetLogin(), "disabled", func(tx postgres.Tx, p *Listed, now time.Time) error {
		if p.DisabledAt != nil {
			return apperr.Preconditionf("PERSON_DISABLED", "%s is shut out already.", p.Name)
		}
		p.DisabledAt = &now
		if err := keepDisabled(ctx, tx, p.ID, &now); err != nil {
			return err
		}
		return deleteSessions(ctx, tx, p.ID, nil)
	})
	if err != nil {
		return nil, err
	}
	return &peoplev1.DisablePersonResponse{Person: p}, nil
}

// EnablePerson lets a person in again.
func (s *Server) EnablePerson(ctx context.Context, req *peoplev1.EnablePersonRequest) (*peoplev1.EnablePersonResponse, error) {
	p, err := s.changed(ctx, req.GetLogin(), "enabled", func(tx postgres.Tx, p *Listed, _ time.Time) error {
		if p.DisabledAt == nil {
			return apperr.Preconditionf("PERSON_ENABLED", "%s may sign in already.", p.Name)
		}
		p.DisabledAt = nil
		return keepDisabled(ctx, tx, p.ID, nil)
	})
	if err != nil {
		return nil, err
	}
	return &peoplev1.EnablePersonResponse{Person: p}, nil
}
