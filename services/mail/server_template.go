package mail

import (
	"context"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

// ListLetterKinds lists the kinds of letter.
func (s *Server) ListLetterKinds(ctx context.Context, _ *mailv1.ListLetterKindsRequest) (*mailv1.ListLetterKindsResponse, error) {
	saved, err := listSaved(ctx, s.deps.Pool)
	if err != nil {
		return nil, err
	}
	out := &mailv1.ListLetterKindsResponse{}
	for _, k := range Kinds() {
		out.Kinds = append(out.Kinds, kindToProto(k, saved[k.Kind]))
	}
	return out, nil
}

// inUse finds the template of a kind that is in use, and who saved it.
func (s *Server) inUse(ctx context.Context, kind KindInfo) (Template, SavedTemplate, error) {
	saved, err := listSaved(ctx, s.deps.Pool)
	if err != nil {
		return Template{}, SavedTemplate{}, err
	}
	if one := saved[kind.Kind]; one.Subject != nil && one.Body != nil {
		return Template{*one.Subject, *one.Body}, one, nil
	}
	t, err := BuiltIn(kind.Kind)
	return t, SavedTemplate{}, err
}

// ReadLetterTemplate reads a template.
func (s *Server) ReadLetterTemplate(ctx context.Context, req *mailv1.ReadLetterTemplateRequest) (*mailv1.ReadLetterTemplateResponse, error) {
	kind, err := kindOf(req.GetKind())
	if err != nil {
		return nil, err
	}
	t, saved, err := s.inUse(ctx, kind)
	if err == nil && req.GetBuiltIn() {
		saved = SavedTemplate{}
		t, err = BuiltIn(kind.Kind)
	}
	if err != nil {
		return nil, err
	}
	return &mailv1.ReadLetterTemplateResponse{Kind: kindToProto(kind, saved), Template: t.String()}, nil
}

// SetLetterTemplate saves a template.
func (s *Server) SetLetterTemplate(ctx context.Context, req *mailv1.SetLetterTemplateRequest) (*mailv1.SetLetterTemplateResponse, error) {
	kind, err := kindOf(req.GetKind())
	if err != nil {
		return nil, err
	}
	saved := SavedTemplate{Kind: kind.Kind, SavedAt: s.now(), SavedBy: s.deps.Caller(ctx)}
	switch {
	case req.GetBuiltIn() && req.GetTemplate() != "":
		return nil, apperr.InvalidField("template", "must be empty where the built-in one is taken back into use", "leave one of the two out")
	case !req.GetBuiltIn():
		t, err := SplitTemplate(req.GetTemplate())
		if err != nil {
			return nil, err
		}
		if err := t.Check(kind); err != nil {
			return nil, err
		}
		saved.Subject, saved.Body = &t.Subject, &t.Body
	}
	if err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error { return insertTemplate(ctx, tx, saved) }); err != nil {
		return nil, err
	}
	return &mailv1.SetLetterTemplateResponse{Kind: kindToProto(kind, saved)}, nil
}

// PreviewLetter fills a template in with example values.
func (s *Server) PreviewLetter(ctx context.Context, req *mailv1.PreviewLetterRequest) (*mailv1.PreviewLetterResponse, error) {
	kind, err := kindOf(req.GetKind())
	if err != nil {
		return nil, err
	}
	var t Template
	if req.GetTemplate() == "" {
		t, _, err = s.inUse(ctx, kind)
	} else if t, err = SplitTemplate(req.GetTemplate()); err == nil {
		err = t.Check(kind)
	}
	if err != nil {
		return nil, err
	}
	head, err := findLetterhead(ctx, s.deps.Pool)
	if err != nil {
		return nil, err
	}
	v := exampleOf(kind, !req.GetBare())
	v["school"], v["phone"] = head.Name, head.Phone
	c, err := t.compile(kind)
	if err != nil {
		return nil, err
	}
	w, err := c.fill(v)
	if err != nil {
		return nil, err
	}
	return &mailv1.PreviewLetterResponse{Subject: w.subject, Text: w.text, Html: w.html}, nil
}

// TryLetter sends a letter with example values.
func (s *Server) TryLetter(ctx context.Context, req *mailv1.TryLetterRequest) (*mailv1.TryLetterResponse, error) {
	kind, err := kindOf(req.GetKind())
	if err != nil {
		return nil, err
	}
	if fault := plainAddress(req.GetToAddress()); fault != "" {
		return nil, apperr.InvalidField("to_address", fault, "write an address such as freya@example.org")
	}
	key := "trial " + s.deps.Mint().String()
	l := Example(kind, Address{Name: s.deps.Caller(ctx), Addr: req.GetToAddress()}, s.now())
	l.Key = key
	if l.Event != nil {
		l.Event.UID = ids.LetterID(s.deps.Mint()).String()
	}
	var k Kept
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		if err := s.deps.Outbox.Put(ctx, tx, l); err != nil {
			return err
		}
		list, err := List(ctx, tx, Filter{Key: key, Limit: 1})
		if err == nil {
			k = list[0]
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return &mailv1.TryLetterResponse{Letter: letterToProto(k)}, nil
}

// ReadLetterhead reads the letterhead.
func (s *Server) ReadLetterhead(ctx context.Context, _ *mailv1.ReadLetterheadRequest) (*mailv1.ReadLetterheadResponse, error) {
	head, err := findLetterhead(ctx, s.deps.Pool)
	if err != nil {
		return nil, err
	}
	return &mailv1.ReadLetterheadResponse{Letterhead: letterheadToProto(head)}, nil
}

// SetLetterhead sets the letterhead.
func (s *Server) SetLetterhead(ctx context.Context, req *mailv1.SetLetterheadRequest) (*mailv1.SetLetterheadResponse, error) {
	head, err := letterheadOf(req.GetLetterhead())
	if err != nil {
		return nil, err
	}
	head.SetAt, head.SetBy = s.now(), s.deps.Caller(ctx)
	if err := head.check(); err != nil {
		return nil, err
	}
	if err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error { return insertLetterhead(ctx, tx, head) }); err != nil {
		return nil, err
	}
	return &mailv1.SetLetterheadResponse{Letterhead: letterheadToProto(head)}, nil
}
