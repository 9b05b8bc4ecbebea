package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/mail"
)

// MailOptions say where letters to owners go.
type MailOptions struct {
	MailDir      string `env:"LONGLEAD_MAIL_DIR" help:"Write letters to this folder, where mail programs can open them." placeholder:"DIR" xor:"mail"`
	SMTP         string `name:"smtp" env:"LONGLEAD_SMTP" help:"Send letters over this mail server." placeholder:"HOST:PORT" xor:"mail"`
	SMTPSecurity string `name:"smtp-security" env:"LONGLEAD_SMTP_SECURITY" enum:"starttls,tls,plain" default:"starttls" help:"How the connection is kept private: starttls, tls, or plain for a server on this machine."`
	SMTPUser     string `name:"smtp-user" env:"LONGLEAD_SMTP_USER" help:"Name to sign in with." placeholder:"NAME"`
	SMTPPassword string `name:"smtp-password-file" env:"LONGLEAD_SMTP_PASSWORD_FILE" help:"File with the password." placeholder:"FILE"`
	DKIMKey      string `name:"dkim-key" env:"LONGLEAD_DKIM_KEY" help:"Sign letters with the private key in this file (PEM)." placeholder:"FILE"`
	DKIMDomain   string `name:"dkim-domain" env:"LONGLEAD_DKIM_DOMAIN" help:"Domain whose DNS has the public key." placeholder:"DOMAIN"`
	DKIMSelector string `name:"dkim-selector" env:"LONGLEAD_DKIM_SELECTOR" default:"longlead" help:"Selector of the public key in the DNS." placeholder:"NAME"`
	MailMinute   int    `name:"mail-per-minute" env:"LONGLEAD_MAIL_PER_MINUTE" default:"60" help:"Most letters a minute to addresses of one domain; 0 for no limit." placeholder:"N"`
	MailAtOnce   int    `name:"mail-at-once" default:"20" help:"How many of these may go at once." placeholder:"N"`
}

// letters make what sends letters: over a server where one is named, else to a folder. where tells people where they go.
func (m *MailOptions) letters(o *Options) (d mail.WorkerDeps, where string, end func(), err error) {
	end = func() {}
	if m.MailMinute < 0 || m.MailAtOnce < 1 {
		return d, "", end, usageError("--mail-per-minute must not be negative, and --mail-at-once at least 1")
	}
	d.Pace = mail.Pace{PerMinute: m.MailMinute, Burst: m.MailAtOnce}
	if m.DKIMKey != "" {
		if d.Signer, err = mail.LoadSigner(m.DKIMDomain, m.DKIMSelector, m.DKIMKey); err != nil {
			return d, "", end, wrongOption(err)
		}
	}
	if m.SMTP == "" {
		dir := m.folder(o)
		d.Sender, err = mail.NewFolder(dir)
		return d, fmt.Sprintf("Letters to owners are written to %s and reach nobody; --smtp sends them.", dir), end, err
	}
	cfg := mail.SMTPConfig{Addr: m.SMTP, Security: mail.Security(m.SMTPSecurity), User: m.SMTPUser}
	if m.SMTPPassword != "" {
		content, err := os.ReadFile(m.SMTPPassword)
		if err != nil {
			return d, "", end, usageError(fmt.Sprintf("the password file cannot be read (%v)", err))
		}
		cfg.Password = strings.TrimRight(string(content), "\r\n")
	}
	sender, err := mail.NewSMTP(cfg)
	if err != nil {
		return d, "", end, wrongOption(err)
	}
	d.Sender = sender
	return d, fmt.Sprintf("Letters to owners are sent over %s.", m.SMTP), sender.Close, nil
}

// wrongOption names the options that are wrong, with the rule and the remedy.
func wrongOption(err error) error {
	known, ok := apperr.From(err)
	if !ok || len(known.Fields) == 0 {
		return err
	}
	return usageError("--" + known.Fields[0].String())
}

// folder is where letters are written without a server.
func (m *MailOptions) folder(o *Options) string {
	if m.MailDir != "" {
		return m.MailDir
	}
	return filepath.Join(o.Data, "mail")
}

// useMail lets this process send letters once work is called, and says where they go. Where nothing is said they wait, or
// go to a folder in the data folder if folder is set: a second server that was started without the options of the first must not file letters away that owners wait for.
func (a *app) useMail(o *Options, m *MailOptions, folder bool) (where string, err error) {
	if m.SMTP == "" && m.MailDir == "" && !folder {
		return "Letters to owners wait for a process that sends them: --smtp names a server, --mail-dir a folder.", nil
	}
	d, where, end, err := m.letters(o)
	if err != nil {
		return "", err
	}
	a.letters = d
	a.close = append(a.close, end)
	return where, nil
}
