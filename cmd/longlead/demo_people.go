package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/longlead/longlead/services/people"

	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

// demoPeople are five invented people, one of each role. The trainer and the site are the invented school's.
var demoPeople = []*peoplev1.AddPersonRequest{
	{Login: "rosalind", Name: "Rosalind Achterdeck", Role: people.Manager},
	{Login: "tobias", Name: "Tobias Fennimore-Hale", Role: people.SiteLead, SiteCode: "TARN"},
	{Login: "imara", Name: "Imara Oduya", Role: people.Trainer, SiteCode: "TARN", TrainerCode: "IMARA"},
	{Login: "wren", Name: "Wren Castleyard", Role: people.Office},
	{Login: "quillon", Name: "Quillon Brae", Role: people.Viewer},
}

// letPeopleIn adds those of the five who are not there yet, each with a password that is made now, and says where they stand. The file is written
// before the first of them is added: who is there has a password that somebody can read.
func letPeopleIn(ctx context.Context, a *app, o *Options, std streams) error {
	client := peoplev1.NewPeopleServiceClient(a.conn)
	list, err := client.ListPeople(ctx, &peoplev1.ListPeopleRequest{})
	if err != nil {
		return err
	}
	there := map[string]bool{}
	for _, p := range list.GetPeople() {
		there[p.GetLogin()] = true
	}
	path := filepath.Join(o.Data, "people.txt")
	old, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("read who may sign in: %w", err)
	}
	var lines strings.Builder
	for line := range strings.Lines(string(old)) {
		if login, _, ok := strings.Cut(line, " "); ok && there[login] {
			lines.WriteString(line)
		}
	}
	var add []*peoplev1.AddPersonRequest
	for _, p := range demoPeople {
		if there[p.GetLogin()] {
			continue
		}
		fresh := &peoplev1.AddPersonRequest{Login: p.GetLogin(), Name: p.GetName(), Role: p.GetRole(), SiteCode: p.GetSiteCode(), TrainerCode: p.GetTrainerCode(),
			Password: people.MakePassword(), KeepPassword: true}
		add = append(add, fresh)
		fmt.Fprintf(&lines, "%-10s %-10s %s\n", fresh.GetLogin(), fresh.GetRole(), fresh.GetPassword())
	}
	if len(add) > 0 {
		if err := os.MkdirAll(o.Data, 0o755); err != nil {
			return fmt.Errorf("make the data folder: %w", err)
		}
		if err := writePrivate(path, lines.String()); err != nil {
			return err
		}
	}
	for _, p := range add {
		if _, err := client.AddPerson(ctx, p); err != nil {
			return err
		}
	}
	printSentence(o.notes(std), "Five people may sign in to the console at %s/, one of each role. Their logins and passwords are in %s", a.publicURL, path)
	return nil
}
