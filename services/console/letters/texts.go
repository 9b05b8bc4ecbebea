package letters

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/longlead/longlead/services/console/frame"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

type textsView struct {
	Head    *mailv1.Letterhead
	SetAt   string
	Kinds   []kind
	Trouble *frame.Trouble
}

// kind is a kind of letter with whose words are in use.
type kind struct {
	*mailv1.LetterKind
	Path, Word, Saved string
}

func kindOf(k *mailv1.LetterKind) kind {
	return kind{k, "/letter-words/" + url.PathEscape(k.GetKind()), KindWord(k.GetKind()), when(k.GetSavedAt(), time.UTC)}
}

func showTexts(v *frame.Visit) error { return texts(v, nil, nil) }

// texts shows the letterhead and the kinds, with a letterhead that could not be taken.
func texts(v *frame.Visit, head *mailv1.Letterhead, trouble *frame.Trouble) error {
	client := mailv1.NewMailServiceClient(v.Conn)
	got, err := client.ReadLetterhead(v.Context(), &mailv1.ReadLetterheadRequest{})
	if err != nil {
		return err
	}
	kinds, err := client.ListLetterKinds(v.Context(), &mailv1.ListLetterKindsRequest{})
	if err != nil {
		return err
	}
	view := textsView{Head: got.GetLetterhead(), Trouble: trouble, SetAt: when(got.GetLetterhead().GetSetAt(), time.UTC)}
	if head != nil {
		view.Head = head
	}
	for _, k := range kinds.GetKinds() {
		view.Kinds = append(view.Kinds, kindOf(k))
	}
	status := http.StatusOK
	if trouble != nil {
		status = trouble.Status
	}
	return v.ShowAs(status, textsPage, view)
}

func setHead(v *frame.Visit) error {
	head := &mailv1.Letterhead{Name: v.Form("name"), Address: v.Form("address"), Phone: v.Form("phone"), QuietFrom: v.Form("quiet_from"), QuietUntil: v.Form("quiet_until")}
	_, err := mailv1.NewMailServiceClient(v.Conn).SetLetterhead(v.Context(), &mailv1.SetLetterheadRequest{Letterhead: head})
	if t, ok := frame.Mendable(err); ok {
		return texts(v, head, t)
	}
	if err != nil {
		return err
	}
	return v.Done("/letter-words", "Kept. It counts for letters from now on, and the quiet hours for all that have not gone.")
}

type textView struct {
	kind
	Template string
	// Preview is what the template makes of example values; nil where it makes nothing.
	Preview *mailv1.PreviewLetterResponse
	// Unsaved says that the template is not the one in use.
	Unsaved bool
	Own     bool
	Trouble *frame.Trouble
}

func showText(v *frame.Visit) error {
	got, err := mailv1.NewMailServiceClient(v.Conn).ReadLetterTemplate(v.Context(), &mailv1.ReadLetterTemplateRequest{Kind: v.Path("kind")})
	if err != nil {
		return err
	}
	return text(v, http.StatusOK, textView{kind: kindOf(got.GetKind()), Template: got.GetTemplate(), Own: got.GetKind().GetSavedBy() != ""})
}

// text shows a template and what it makes of example values.
func text(v *frame.Visit, status int, view textView) error {
	if view.Trouble == nil {
		got, err := mailv1.NewMailServiceClient(v.Conn).PreviewLetter(v.Context(), &mailv1.PreviewLetterRequest{Kind: v.Path("kind"), Template: view.Template})
		t, ok := frame.Mendable(err)
		switch {
		case ok:
			view.Trouble, status = t, t.Status
		case err != nil:
			return err
		}
		view.Preview = got
	}
	return v.ShowAs(status, textPage, view)
}

// changeText previews a template, keeps it, or takes the built-in one back into use.
func changeText(v *frame.Visit) error {
	client := mailv1.NewMailServiceClient(v.Conn)
	template := strings.ReplaceAll(v.Request.PostFormValue("template"), "\r\n", "\n")
	req := &mailv1.SetLetterTemplateRequest{Kind: v.Path("kind"), Template: template}
	words := "Kept. Letters from now on use these words."
	if v.Form("do") == "built-in" {
		req.Template, req.BuiltIn = "", true
		words = "The built-in words are in use again."
	}
	if v.Form("do") != "preview" {
		_, err := client.SetLetterTemplate(v.Context(), req)
		if err == nil {
			return v.Done("/letter-words/"+url.PathEscape(v.Path("kind")), words)
		}
		if t, ok := frame.Mendable(err); !ok {
			return err
		} else if err := unsaved(v, template, t); err != nil {
			return err
		}
		return nil
	}
	return unsaved(v, template, nil)
}

// unsaved shows a template that is not kept, with its preview or with what is wrong with it.
func unsaved(v *frame.Visit, template string, trouble *frame.Trouble) error {
	got, err := mailv1.NewMailServiceClient(v.Conn).ReadLetterTemplate(v.Context(), &mailv1.ReadLetterTemplateRequest{Kind: v.Path("kind")})
	if err != nil {
		return err
	}
	view := textView{kind: kindOf(got.GetKind()), Template: template, Unsaved: template != got.GetTemplate(), Own: got.GetKind().GetSavedBy() != "", Trouble: trouble}
	status := http.StatusOK
	if trouble != nil {
		status = trouble.Status
	}
	return text(v, status, view)
}
