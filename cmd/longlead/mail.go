package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/mail"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

type mailCmd struct {
	List       mailListCmd       `cmd:"" help:"List letters to owners, those that were put last first, and count them by what became of them."`
	Show       mailShowCmd       `cmd:"" help:"Show a letter: its words, and what became of each attempt to send it."`
	Resend     mailResendCmd     `cmd:"" help:"Send the words of a letter again, to another address if you give one."`
	Bounce     mailBounceCmd     `cmd:"" help:"Read delivery reports that came back, and note them on the letters that they are about."`
	Letterhead mailLetterheadCmd `cmd:"" help:"Show who letters come from and when none is sent, or set it."`
	Template   mailTemplateCmd   `cmd:"" help:"List, show, change, preview and try the texts that letters are made from."`
}

// withMail runs a command on the letters of this process or of --server.
func withMail(ctx context.Context, o *Options, std streams, do func(client mailv1.MailServiceClient) error) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(mailv1.NewMailServiceClient(a.conn))
}

type mailListCmd struct {
	State string `help:"Only those that are waiting, sending, sent, superseded, expired, refused or bounced." placeholder:"STATE"`
	Kind  string `help:"Only those of a kind, such as handover-invitation." placeholder:"KIND"`
	About string `help:"Only those about one thing, such as the ID of an appointment." placeholder:"ID"`
	To    string `help:"Only those to this address." placeholder:"ADDRESS"`
	Limit int32  `help:"How many at most." default:"100" placeholder:"N"`
}

// Run lists letters.
func (c *mailListCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		got, err := client.ListLetters(ctx, &mailv1.ListLettersRequest{State: c.State, Kind: c.Kind, Key: c.About, To: c.To, Limit: c.Limit})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printLetters(std.out, o, got)
		return nil
	})
}

type mailShowCmd struct {
	ID   string `arg:"" help:"ID of the letter, as the list has it." placeholder:"ID"`
	Part string `enum:"all,text,html,calendar,sent" default:"all" help:"all for people, or one part as it is: text, html, calendar, or sent for the whole message as a server took it."`
	Out  string `short:"o" help:"Write to this file instead of the screen; others on the machine cannot read it." placeholder:"FILE"`
}

// Run shows a letter.
func (c *mailShowCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		got, err := client.ReadLetter(ctx, &mailv1.ReadLetterRequest{LetterId: c.ID})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		var part string
		switch c.Part {
		case "text":
			part = got.GetText()
		case "html":
			part = got.GetHtml()
		case "calendar":
			part = got.GetCalendar()
		case "sent":
			part = string(got.GetContent())
		default:
			printLetter(std.out, o, got)
			return nil
		}
		if part == "" {
			return usageError(fmt.Sprintf("letter %s has no part %s", c.ID, c.Part))
		}
		if c.Out == "" {
			_, err := fmt.Fprint(std.out, part)
			return err
		}
		return writePrivate(c.Out, part)
	})
}

// writePrivate writes a file that others on the machine cannot read.
func writePrivate(path, content string) error {
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		return usageError(fmt.Sprintf("the file %s cannot be written (%v)", path, err))
	}
	return nil
}

type mailResendCmd struct {
	ID string `arg:"" help:"ID of the letter, as the list has it." placeholder:"ID"`
	To string `help:"Another address. The one on record stays as it is: correct it as well." placeholder:"ADDRESS"`
}

// Run sends a letter again.
func (c *mailResendCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		got, err := client.ResendLetter(ctx, &mailv1.ResendLetterRequest{LetterId: c.ID, ToAddress: c.To})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		fmt.Fprintf(std.out, "On its way to %s as letter %s: %s\n", got.GetLetter().GetToAddress(), got.GetLetter().GetId(), o.command("mail show "+got.GetLetter().GetId()))
		return nil
	})
}

type mailBounceCmd struct {
	Paths []string `arg:"" name:"path" help:"Messages that came back, or folders of them." placeholder:"PATH"`
}

// bounceResult is what came of one file.
type bounceResult struct {
	File    string `json:"file"`
	Outcome string `json:"outcome,omitempty"`
	Letter  string `json:"letter,omitempty"`
	To      string `json:"to,omitempty"`
	Answer  string `json:"answer,omitempty"`
	// Problem says why the file was left alone.
	Problem string `json:"problem,omitempty"`
}

// Run notes delivery reports. A file that is none is named, and the others are read all the same.
func (c *mailBounceCmd) Run(ctx context.Context, o *Options, std streams) error {
	files, err := filesAt(c.Paths)
	if err != nil {
		return err
	}
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		var results []bounceResult
		left := 0
		for _, file := range files {
			r, err := noteBounce(ctx, client, file)
			if err != nil {
				return err
			}
			if r.Problem != "" {
				left++
			}
			results = append(results, r)
		}
		if o.JSON {
			err = writeJSON(std.out, results)
		} else {
			printBounces(std.out, o, results)
		}
		if err == nil && left > 0 {
			err = exitError(exitFaults)
		}
		return err
	})
}

// filesAt lists files, and those in folders, in the order of their names.
func filesAt(paths []string) ([]string, error) {
	var files []string
	for _, path := range paths {
		err := filepath.WalkDir(path, func(p string, d fs.DirEntry, err error) error {
			if err == nil && d.Type().IsRegular() && !(p != path && strings.HasPrefix(d.Name(), ".")) {
				files = append(files, p)
			}
			return err
		})
		if err != nil {
			return nil, usageError(fmt.Sprintf("%s cannot be read (%v)", path, errors.Unwrap(err)))
		}
	}
	return files, nil
}

// noteBounce hands one file over. Its size is looked at before it is read.
func noteBounce(ctx context.Context, client mailv1.MailServiceClient, file string) (bounceResult, error) {
	r := bounceResult{File: file}
	info, err := os.Stat(file)
	if err == nil && info.Size() > mail.LargestBounce {
		r.Problem = fmt.Sprintf("it has %d KB, and a delivery report has at most %d: it is something else, and was not read", info.Size()>>10, mail.LargestBounce>>10)
		return r, nil
	}
	content, err := os.ReadFile(file)
	if err != nil {
		r.Problem = "it cannot be read"
		return r, nil
	}
	if len(content) == 0 {
		r.Problem = "it is empty"
		return r, nil
	}
	got, err := client.RecordBounce(ctx, &mailv1.RecordBounceRequest{Content: content})
	switch status.Code(err) {
	case codes.OK:
	case codes.InvalidArgument, codes.NotFound, codes.FailedPrecondition:
		r.Problem = status.Convert(err).Message()
		return r, nil
	default:
		return r, err
	}
	r.Outcome, r.Letter, r.To, r.Answer = got.GetOutcome(), got.GetLetter().GetId(), got.GetLetter().GetToAddress(), got.GetAnswer()
	return r, nil
}

type mailLetterheadCmd struct {
	Name    string `help:"Name of the school, as owners know it." placeholder:"NAME"`
	Address string `help:"Address that letters come from, and that owners may answer to." placeholder:"ADDRESS"`
	Phone   string `help:"Telephone number that owners may call." placeholder:"NUMBER"`
	Quiet   string `help:"Hours of the owner's clock in which nothing is sent, such as 21:00-08:00; none for no such hours." placeholder:"FROM-UNTIL"`
}

// Run shows the letterhead, or changes what is given of it.
func (c *mailLetterheadCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMail(ctx, o, std, func(client mailv1.MailServiceClient) error {
		got, err := client.ReadLetterhead(ctx, &mailv1.ReadLetterheadRequest{})
		if err != nil {
			return err
		}
		head := got.GetLetterhead()
		if c.Name+c.Address+c.Phone+c.Quiet != "" {
			if err := c.change(head); err != nil {
				return err
			}
			set, err := client.SetLetterhead(ctx, &mailv1.SetLetterheadRequest{Letterhead: head})
			if err != nil {
				return err
			}
			head = set.GetLetterhead()
		}
		if o.JSON {
			return printJSON(std.out, head)
		}
		printLetterhead(std.out, o, head)
		return nil
	})
}

func (c *mailLetterheadCmd) change(head *mailv1.Letterhead) error {
	for _, f := range []struct {
		to   *string
		text string
	}{{&head.Name, c.Name}, {&head.Address, c.Address}, {&head.Phone, c.Phone}} {
		if f.text != "" {
			*f.to = f.text
		}
	}
	switch c.Quiet {
	case "":
	case "none":
		head.QuietFrom, head.QuietUntil = "00:00", "00:00"
	default:
		from, until, ok := strings.Cut(c.Quiet, "-")
		if !ok {
			return usageError("--quiet is written like 21:00-08:00, or none")
		}
		head.QuietFrom, head.QuietUntil = strings.TrimSpace(from), strings.TrimSpace(until)
	}
	return nil
}
