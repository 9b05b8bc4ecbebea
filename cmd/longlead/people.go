package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"golang.org/x/term"

	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

type peopleCmd struct {
	List     peopleListCmd     `cmd:"" help:"List who may sign in to the console, and who is shut out."`
	Add      peopleAddCmd      `cmd:"" help:"Let somebody in: with a password from a file, or one that is made and shown once."`
	Change   peopleChangeCmd   `cmd:"" help:"Change the name, role, site or trainer of somebody."`
	Password peoplePasswordCmd `cmd:"" help:"Give somebody another password. It ends their open sign-ins."`
	Disable  peopleDisableCmd  `cmd:"" help:"Shut somebody out at once."`
	Enable   peopleEnableCmd   `cmd:"" help:"Let somebody in again."`
}

// withPeople runs a command on the people of this process or of --server.
func withPeople(ctx context.Context, o *Options, std streams, do func(client peoplev1.PeopleServiceClient) error) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(peoplev1.NewPeopleServiceClient(a.conn))
}

// PasswordOptions say where a password comes from. It is never an argument: others on the machine can read those.
type PasswordOptions struct {
	PasswordFile string `help:"Take the first line of this file as the password; - asks for it, or reads it from the standard input. Without it one is made." placeholder:"FILE"`
	Keep         bool   `help:"Do not ask them for a password of their own when they sign in next."`
}

// password reads it; empty where one is to be made.
func (p PasswordOptions) password(std streams) (string, error) {
	switch p.PasswordFile {
	case "":
		return "", nil
	case "-":
		if term.IsTerminal(int(os.Stdin.Fd())) {
			return askPassword(std.err)
		}
		return firstLine(os.Stdin)
	}
	f, err := os.Open(p.PasswordFile)
	if err != nil {
		return "", usageError(fmt.Sprintf("the password file cannot be read (%v)", err))
	}
	defer func() { _ = f.Close() }()
	return firstLine(f)
}

// askPassword asks twice, as nobody sees what is written.
func askPassword(out io.Writer) (string, error) {
	var answers [2]string
	for i, question := range []string{"Password: ", "Once more: "} {
		fmt.Fprint(out, question)
		answer, err := term.ReadPassword(int(os.Stdin.Fd()))
		fmt.Fprintln(out)
		if err != nil {
			return "", fmt.Errorf("read a password: %w", err)
		}
		answers[i] = string(answer)
	}
	switch {
	case answers[0] == "":
		return "", usageError("the password is empty")
	case answers[0] != answers[1]:
		return "", usageError("the two passwords differ")
	}
	return answers[0], nil
}

func firstLine(in io.Reader) (string, error) {
	line, err := bufio.NewReader(io.LimitReader(in, 8<<10)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", usageError(fmt.Sprintf("the password cannot be read (%v)", err))
	}
	line = strings.TrimRight(line, "\r\n")
	if line == "" {
		return "", usageError("the password is empty: write it into the first line")
	}
	return line, nil
}

type peopleListCmd struct{}

// Run lists people.
func (c *peopleListCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPeople(ctx, o, std, func(client peoplev1.PeopleServiceClient) error {
		got, err := client.ListPeople(ctx, &peoplev1.ListPeopleRequest{})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printPeople(std.out, o, got.GetPeople())
		return nil
	})
}

func printPeople(out io.Writer, o *Options, people []*peoplev1.Person) {
	if len(people) == 0 {
		printSentence(out, "Nobody may sign in yet. Add a manager: %s", o.command("people add LOGIN --name NAME --role manager"))
		return
	}
	t := newTable(out, "login", "name", "role", "site", "trainer", "seen", "state")
	for _, p := range people {
		seen, state := "never", "may sign in"
		if at := p.GetSeenAt(); at != nil {
			seen = at.AsTime().Format("2006-01-02 15:04Z")
		}
		switch {
		case p.GetDisabledAt() != nil:
			state = "shut out"
		case p.GetMustChange():
			state = "new password"
		}
		t.AppendRow(table.Row{p.GetLogin(), p.GetName(), p.GetRole(), p.GetSiteCode(), p.GetTrainerCode(), seen, state})
	}
	t.Render()
}

type peopleAddCmd struct {
	Login   string `arg:"" help:"Login, such as jo.marsh." placeholder:"LOGIN"`
	Name    string `required:"" help:"Name, as others are to see it." placeholder:"NAME"`
	Role    string `required:"" help:"manager, site-lead, trainer, office or viewer." placeholder:"ROLE"`
	Site    string `help:"Code of the site that is theirs." placeholder:"SITE"`
	Trainer string `help:"Code of the trainer that they are." placeholder:"TRAINER"`
	PasswordOptions
}

// Run adds a person.
func (c *peopleAddCmd) Run(ctx context.Context, o *Options, std streams) error {
	password, err := c.password(std)
	if err != nil {
		return err
	}
	return withPeople(ctx, o, std, func(client peoplev1.PeopleServiceClient) error {
		got, err := client.AddPerson(ctx, &peoplev1.AddPersonRequest{Login: c.Login, Name: c.Name, Role: c.Role, SiteCode: c.Site, TrainerCode: c.Trainer, Password: password, KeepPassword: c.Keep})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printPassword(std.out, got.GetPerson(), got.GetMadePassword())
		return nil
	})
}

// printPassword shows a made password, once.
func printPassword(out io.Writer, p *peoplev1.Person, made string) {
	printSentence(out, "%s may sign in as %s, in the role %s.", p.GetName(), p.GetLogin(), p.GetRole())
	if made != "" {
		fmt.Fprintf(out, "Password, shown only now: %s\n", made)
	}
	if p.GetMustChange() {
		fmt.Fprintln(out, "They choose one of their own when they sign in.")
	}
}

type peopleChangeCmd struct {
	Login   string  `arg:"" help:"Login." placeholder:"LOGIN"`
	Name    *string `help:"Another name." placeholder:"NAME"`
	Role    *string `help:"Another role." placeholder:"ROLE"`
	Site    *string `help:"Code of the site that is theirs; empty for none." placeholder:"SITE"`
	Trainer *string `help:"Code of the trainer that they are; empty for none." placeholder:"TRAINER"`
}

// Run changes what is given of a person.
func (c *peopleChangeCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPeople(ctx, o, std, func(client peoplev1.PeopleServiceClient) error {
		list, err := client.ListPeople(ctx, &peoplev1.ListPeopleRequest{})
		if err != nil {
			return err
		}
		req := &peoplev1.ChangePersonRequest{Login: c.Login, Name: "-", Role: "viewer"}
		for _, p := range list.GetPeople() {
			if p.GetLogin() == strings.ToLower(c.Login) {
				req.Name, req.Role, req.SiteCode, req.TrainerCode = p.GetName(), p.GetRole(), p.GetSiteCode(), p.GetTrainerCode()
			}
		}
		for _, f := range []struct{ to, given *string }{{&req.Name, c.Name}, {&req.Role, c.Role}, {&req.SiteCode, c.Site}, {&req.TrainerCode, c.Trainer}} {
			if f.given != nil {
				*f.to = *f.given
			}
		}
		got, err := client.ChangePerson(ctx, req) // refuses a login that is not there
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printPeople(std.out, o, []*peoplev1.Person{got.GetPerson()})
		return nil
	})
}

type peoplePasswordCmd struct {
	Login string `arg:"" help:"Login." placeholder:"LOGIN"`
	PasswordOptions
}

// Run sets a password.
func (c *peoplePasswordCmd) Run(ctx context.Context, o *Options, std streams) error {
	password, err := c.password(std)
	if err != nil {
		return err
	}
	return withPeople(ctx, o, std, func(client peoplev1.PeopleServiceClient) error {
		got, err := client.SetPassword(ctx, &peoplev1.SetPasswordRequest{Login: c.Login, Password: password, KeepPassword: c.Keep})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printPassword(std.out, got.GetPerson(), got.GetMadePassword())
		return nil
	})
}

type peopleDisableCmd struct {
	Login string `arg:"" help:"Login." placeholder:"LOGIN"`
}

// Run shuts a person out.
func (c *peopleDisableCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPeople(ctx, o, std, func(client peoplev1.PeopleServiceClient) error {
		got, err := client.DisablePerson(ctx, &peoplev1.DisablePersonRequest{Login: c.Login})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printSentence(std.out, "%s is shut out, and their open sign-ins have ended.", got.GetPerson().GetName())
		return nil
	})
}

type peopleEnableCmd struct {
	Login string `arg:"" help:"Login." placeholder:"LOGIN"`
}

// Run lets a person in again.
func (c *peopleEnableCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPeople(ctx, o, std, func(client peoplev1.PeopleServiceClient) error {
		got, err := client.EnablePerson(ctx, &peoplev1.EnablePersonRequest{Login: c.Login})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printSentence(std.out, "%s may sign in again, with the password that they had.", got.GetPerson().GetName())
		return nil
	})
}
