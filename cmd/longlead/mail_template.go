package main

import (
	"context"
	"fmt"
	"io"
	"os"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

type mailTemplateCmd struct {
	List    mailTemplateListCmd    `cmd:"" help:"List the kinds of letter, when each is sent and whose words are in use."`
	Show    mailTemplateShowCmd    `cmd:"" help:"Write the template of a kind, for changing it; the fields that it may use stand on the side of notes."`
	Set     mailTemplateSetCmd     `cmd:"" help:"Use your own words for a kind from now on, or the built-in ones again. Letters that are on their way keep theirs."`
	Preview mailTemplatePreviewCmd `cmd:"" help:"Fill a template in with example values. It changes nothing."`
	Try     mailTemplateTryCmd     `cmd:"" help:"Send a letter with example values to an address of yours."`
}

type mailTemplateListCmd struct{}

// Run lists the kinds.
func (c *mailTemplateListCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		got, err := client.ListLetterKinds(ctx, &mailv1.ListLetterKindsRequest{})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printLetterKinds(std.out, o, got.GetKinds())
		return nil
	})
}

type mailTemplateShowCmd struct {
	Kind    string `arg:"" help:"Kind of letter, as the list has it." placeholder:"KIND"`
	BuiltIn bool   `help:"The built-in one, whichever is in use."`
}

// Run writes a template. What is written to the standard output can be changed and set as it is.
func (c *mailTemplateShowCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		got, err := client.ReadLetterTemplate(ctx, &mailv1.ReadLetterTemplateRequest{Kind: c.Kind, BuiltIn: c.BuiltIn})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		fmt.Fprint(std.out, got.GetTemplate())
		printFields(std.err, got.GetKind())
		return nil
	})
}

type mailTemplateSetCmd struct {
	Kind    string `arg:"" help:"Kind of letter, as the list has it." placeholder:"KIND"`
	File    string `arg:"" optional:"" help:"File with the template: a line \"Subject: …\", a blank line, the text. - reads the standard input." placeholder:"FILE"`
	BuiltIn bool   `help:"Use the built-in words again."`
}

// Run sets a template.
func (c *mailTemplateSetCmd) Run(ctx context.Context, o *Options, std streams) error {
	if (c.File == "") != c.BuiltIn {
		return usageError("template set needs a file or --built-in, and not both")
	}
	req := &mailv1.SetLetterTemplateRequest{Kind: c.Kind, BuiltIn: c.BuiltIn}
	if !c.BuiltIn {
		content, err := readTemplate(c.File)
		if err != nil {
			return err
		}
		req.Template = content
	}
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		got, err := client.SetLetterTemplate(ctx, req)
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		if c.BuiltIn {
			fmt.Fprintf(std.out, "Letters of the kind %s have the built-in words from now on. Yours are kept in the history.\n", c.Kind)
			return nil
		}
		fmt.Fprintf(std.out, "Letters of the kind %s have your words from now on. Look at one: %s\n", c.Kind, o.command("mail template preview "+c.Kind))
		return nil
	})
}

// mostTemplate is more than a template may have; the server says by how much a shorter one is too long.
const mostTemplate = 100_000

func readTemplate(file string) (string, error) {
	in := io.Reader(os.Stdin)
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return "", usageError(fmt.Sprintf("the template cannot be read (%v)", err))
		}
		defer func() { _ = f.Close() }()
		in = f
	}
	content, err := io.ReadAll(io.LimitReader(in, mostTemplate+1))
	if err != nil {
		return "", usageError(fmt.Sprintf("the template cannot be read (%v)", err))
	}
	if len(content) > mostTemplate {
		return "", usageError(fmt.Sprintf("the template has more than %d KB, which is no letter", mostTemplate/1000))
	}
	return string(content), nil
}

type mailTemplatePreviewCmd struct {
	Kind string `arg:"" help:"Kind of letter, as the list has it." placeholder:"KIND"`
	File string `arg:"" optional:"" help:"Template to look at before it is set; the one in use without it." placeholder:"FILE"`
	HTML bool   `name:"html" help:"The HTML part, for a browser."`
	Bare bool   `help:"Leave out what a letter may lack."`
	Out  string `short:"o" help:"Write to this file instead of the screen." placeholder:"FILE"`
}

// Run fills a template in.
func (c *mailTemplatePreviewCmd) Run(ctx context.Context, o *Options, std streams) error {
	req := &mailv1.PreviewLetterRequest{Kind: c.Kind, Bare: c.Bare}
	if c.File != "" {
		content, err := readTemplate(c.File)
		if err != nil {
			return err
		}
		req.Template = content
	}
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		got, err := client.PreviewLetter(ctx, req)
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		content := "Subject: " + got.GetSubject() + "\n\n" + got.GetText()
		if c.HTML {
			content = got.GetHtml()
		}
		if c.Out != "" {
			return writePrivate(c.Out, content)
		}
		_, err = fmt.Fprint(std.out, content)
		return err
	})
}

type mailTemplateTryCmd struct {
	Kind string `arg:"" help:"Kind of letter, as the list has it." placeholder:"KIND"`
	To   string `required:"" help:"Address to send it to." placeholder:"ADDRESS"`
}

// Run sends a letter for trying it.
func (c *mailTemplateTryCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		got, err := client.TryLetter(ctx, &mailv1.TryLetterRequest{Kind: c.Kind, ToAddress: c.To})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		id := got.GetLetter().GetId()
		fmt.Fprintf(std.out, "On its way to %s as letter %s, in the hours in which letters go. A server sends it while it runs: %s\n", c.To, id, o.command("mail show "+id))
		return nil
	})
}
