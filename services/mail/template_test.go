package mail_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/mail"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

func infoOf(t require.TestingT, kind mail.Kind) mail.KindInfo {
	at := slices.IndexFunc(mail.Kinds(), func(k mail.KindInfo) bool { return k.Kind == kind })
	require.GreaterOrEqual(t, at, 0)
	return mail.Kinds()[at]
}

// TestBuiltInTemplates: each kind has one, it is good, it uses nearly all that there is, and a person can change it and set it again.
func TestBuiltInTemplates(t *testing.T) {
	t.Parallel()
	for _, k := range mail.Kinds() {
		built, err := mail.BuiltIn(k.Kind)
		require.NoError(t, err)
		require.NoError(t, built.Check(k), k.Kind)
		again, err := mail.SplitTemplate(built.String())
		require.NoError(t, err)
		require.Equal(t, built, again)
		for _, f := range k.Fields {
			if f.Required {
				require.Contains(t, built.String(), "."+f.Name, "%s leaves out what every letter has", k.Kind)
			}
			require.NotEmpty(t, f.Example)
			require.NotEmpty(t, f.Meaning)
		}
	}
	_, err := mail.BuiltIn("newsletter")
	require.Error(t, err)
	practice, err := mail.BuiltIn(mail.PracticePlan)
	require.NoError(t, err)
	for _, words := range []string{"Every day", "15 to 20 minutes", "Indoors and outdoors", "Quiet places first", "Praise is the reward", "veterinarian", "qualified"} {
		require.Contains(t, practice.Body, words) // common practice, no source; and the usual caution
	}
}

// TestTemplatesAreCheckedWhenSaved: each mistake has a clear answer, and what was in use stays in use.
func TestTemplatesAreCheckedWhenSaved(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	set := func(content string) error {
		_, err := o.server.SetLetterTemplate(t.Context(), &mailv1.SetLetterTemplateRequest{Kind: "handover-day", Template: content})
		return err
	}
	for name, c := range map[string]struct{ content, says string }{
		"unknown field":       {"Subject: a\n\nDear {{.owner}},\n\nyour {{.cat}} waits.", "body, line 3, names cat, which letters of the kind handover-day do not have (they have owner, dog, site,"},
		"unknown in subject":  {"Subject: {{.cat}}\n\na", "subject names cat"},
		"unknown in a branch": {"Subject: a\n\n{{if .link}}{{else}}{{.cat}}{{end}}", "names cat"},
		"no subject":          {"Dear {{.owner}}", "must begin with the subject"},
		"empty":               {"", "must begin with the subject"},
		"empty subject":       {"Subject:\n\na", "must not be empty"},
		"subject may lack":    {"Subject: {{.link}}\n\na", "must not be empty, whatever a letter lacks"},
		"empty body":          {"Subject: a\n\n{{if .link}}b{{end}}", "must not be empty, whatever a letter lacks"},
		"unclosed":            {"Subject: a\n\n{{if .link}}b", "cannot be read"},
		"a function":          {"Subject: a\n\n{{printf \"%1000000000s\" .dog}}", "cannot be read"},
		"a variable":          {"Subject: a\n\n{{$x := .dog}}{{$x}}", "which a letter cannot use"},
		"a pipe":              {"Subject: a\n\n{{.dog | .owner}}", "which a letter cannot use"},
		"a field of a field":  {"Subject: a\n\n{{.dog.name}}", "which a letter cannot use"},
		"a number":            {"Subject: a\n\n{{1}}", "which a letter cannot use"},
		"with":                {"Subject: a\n\n{{with .dog}}{{.}}{{end}}", "which a letter cannot use"},
		"a definition":        {"Subject: a\n\n{{define \"x\"}}b{{end}}c", "must not define"},
		"another template":    {"Subject: a\n\n{{template \"x\"}}", "which a letter cannot use"},
		"break":               {"Subject: a\n\n{{range .bring}}{{break}}{{end}}", "which a letter cannot use"},
		"a list printed":      {"Subject: a\n\n{{.bring}}", "which is a list (write {{range .bring}}"},
		"no list":             {"Subject: a\n\n{{range .dog}}{{.}}{{end}}", "which is no list (write {{.dog}})"},
		"range in a range":    {"Subject: a\n\n{{range .bring}}{{range $.leave}}{{.}}{{end}}{{end}}", "range inside of a range"},
		"a field in a range":  {"Subject: a\n\n{{range .bring}}{{.dog}}{{end}}", "write {{$.dog}} there"},
		"a range in subject":  {"Subject: {{range .bring}}{{.}}{{end}}\n\na", "a subject is one line"},
		"a dot alone":         {"Subject: a\n\n{{.}}", "has a dot without a field"},
		"too long":            {"Subject: a\n\n" + strings.Repeat("a", 20_001), "must not have more than 20000 bytes"},
	} {
		err := set(c.content)
		require.ErrorContains(t, err, c.says, name)
		require.Equal(t, apperr.Invalid, apperr.KindOf(err), name)
	}
	require.Zero(t, o.count(t, `select count(*) from mail.template`))
	_, err := o.server.SetLetterTemplate(t.Context(), &mailv1.SetLetterTemplateRequest{Kind: "newsletter", Template: "Subject: a\n\na"})
	require.ErrorContains(t, err, "is no kind of letter")
	_, err = o.server.SetLetterTemplate(t.Context(), &mailv1.SetLetterTemplateRequest{Kind: "handover-day", BuiltIn: true, Template: "Subject: a\n\na"})
	require.ErrorContains(t, err, "leave one of the two out")
}

// TestTheSchoolsOwnWords are used from when they are saved until the built-in ones are taken back.
func TestTheSchoolsOwnWords(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	const own = "Subject: Hey {{.owner}}\n\n{{.dog}} & co. <wait>\n\n{{range .bring}}- {{.}} for {{$.dog}}\n{{end}}"
	preview, err := o.server.PreviewLetter(t.Context(), &mailv1.PreviewLetterRequest{Kind: "handover-day", Template: own})
	require.NoError(t, err)
	require.Equal(t, "Hey Freya Kahale", preview.GetSubject())
	require.Contains(t, preview.GetHtml(), "Biscuit &amp; co. &lt;wait&gt;")
	require.Contains(t, preview.GetHtml(), "<li>Treats that the dog likes for Biscuit</li>")
	o.put(t, example(t, mail.HandoverDay, "before", 1))
	_, err = o.server.SetLetterTemplate(t.Context(), &mailv1.SetLetterTemplateRequest{Kind: "handover-day", Template: own})
	require.NoError(t, err)
	o.put(t, example(t, mail.HandoverDay, "with", 1))
	read, err := o.server.ReadLetterTemplate(t.Context(), &mailv1.ReadLetterTemplateRequest{Kind: "handover-day"})
	require.NoError(t, err)
	require.Equal(t, strings.TrimSpace(own), strings.TrimSpace(read.GetTemplate()))
	require.Equal(t, "office", read.GetKind().GetSavedBy())
	built, err := o.server.ReadLetterTemplate(t.Context(), &mailv1.ReadLetterTemplateRequest{Kind: "handover-day", BuiltIn: true})
	require.NoError(t, err)
	require.Contains(t, built.GetTemplate(), "Do not forget")
	o.pass(1)
	o.set(o.time().Add(1000))
	_, err = o.server.SetLetterTemplate(t.Context(), &mailv1.SetLetterTemplateRequest{Kind: "handover-day", BuiltIn: true})
	require.NoError(t, err)
	o.put(t, example(t, mail.HandoverDay, "after", 1))
	require.Contains(t, o.only(t, "before").Subject, "Do not forget")
	require.Equal(t, "Hey Freya Kahale", o.only(t, "with").Subject)
	require.Contains(t, o.only(t, "after").Subject, "Do not forget")
	kinds, err := o.server.ListLetterKinds(t.Context(), &mailv1.ListLetterKindsRequest{})
	require.NoError(t, err)
	require.Len(t, kinds.GetKinds(), len(mail.Kinds()))
	require.Equal(t, 2, o.count(t, `select count(*) from mail.template`), "none is deleted")

	for _, k := range mail.Kinds() {
		tried, err := o.server.TryLetter(t.Context(), &mailv1.TryLetterRequest{Kind: string(k.Kind), ToAddress: "me@school.example"})
		require.NoError(t, err)
		require.Equal(t, "waiting", tried.GetLetter().GetState())
		bare, err := o.server.PreviewLetter(t.Context(), &mailv1.PreviewLetterRequest{Kind: string(k.Kind), Bare: true})
		require.NoError(t, err)
		require.NotContains(t, bare.GetText(), "\n\n\n", "nothing is left where something lacks")
		require.NotContains(t, bare.GetText(), "<no value>")
	}
	_, err = o.server.TryLetter(t.Context(), &mailv1.TryLetterRequest{Kind: "handover-day", ToAddress: "me"})
	require.ErrorContains(t, err, "to_address")
}

// TestBothPartsSayTheSame: whatever words a template and its fields have, the HTML part has them as text, and no element of anybody else's.
func TestBothPartsSayTheSame(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	n := 0
	elements := []string{"html", "head", "meta", "title", "body", "div", "h2", "p", "ul", "li", "a", "br"}
	rapid.Check(t, func(r *rapid.T) {
		n++
		l := example(t, mail.PracticePlan, "words", n)
		word := rapid.StringMatching(`[ -~äß犬]{0,60}`)
		l.Fields["dog"] = "x" + word.Draw(r, "dog")
		l.Lists["skills"] = rapid.SliceOfN(word, 0, 4).Draw(r, "skills")
		o.put(t, l)
		list, err := mail.List(t.Context(), o.pool, mail.Filter{Key: "words", Limit: 1})
		require.NoError(r, err)
		k := list[0]
		page, err := html.Parse(strings.NewReader(k.BodyHTML))
		require.NoError(r, err)
		var said strings.Builder
		for node := range page.Descendants() {
			switch node.Type {
			case html.ElementNode:
				require.Contains(r, elements, node.Data)
				for _, a := range node.Attr {
					require.Contains(r, []string{"lang", "charset", "name", "content", "style", "href"}, a.Key)
				}
			case html.TextNode:
				if node.Parent.Data != "title" {
					said.WriteString(node.Data + " ")
				}
			}
		}
		plain := strings.ReplaceAll(strings.Join(slices.DeleteFunc(strings.Split(k.BodyText, "\n"), func(line string) bool { return line != "" && strings.Trim(line, "-") == "" }), " "), "- ", " ")
		require.Equal(r, words(plain), words(strings.ReplaceAll(said.String(), "- ", " ")))
	})
}

// words are those of a text, without what links and lists leave between them.
func words(text string) string { return strings.Join(strings.Fields(text), "") }

// FuzzTemplate: a template that is taken can be filled in whatever a letter holds, and one that is not says why.
func FuzzTemplate(f *testing.F) {
	for _, k := range mail.Kinds() {
		built, err := mail.BuiltIn(k.Kind)
		require.NoError(f, err)
		f.Add(built.String())
	}
	for _, odd := range []string{"Subject: a\n\n{{range .bring}}{{.}}{{else}}{{.dog}}{{end}}", "Subject: {{/* a */}}b\n\n{{- .dog -}}", "Subject: a\n\n{{else}}", "Subject: a\n\n{{if .bring}}{{end}}c", "{{", "Subject: \x00\n\n# \n- \nhttps://"} {
		f.Add(odd)
	}
	kind := infoOf(f, mail.HandoverDay)
	f.Fuzz(func(t *testing.T, content string) {
		tpl, err := mail.SplitTemplate(content)
		if err == nil {
			err = tpl.Check(kind)
		}
		if err != nil {
			require.Equal(t, apperr.Invalid, apperr.KindOf(err), "%v", err)
		}
	})
}
