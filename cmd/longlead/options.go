package main

import (
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/apperr"
)

// Options are the flags that every command takes. Zero values work: they mean a private database in the data folder.
type Options struct {
	Data            string `default:"${data}" env:"LONGLEAD_DATA" help:"Folder of the private database." placeholder:"DIR"`
	DatabaseURL     string `env:"LONGLEAD_DATABASE_URL" help:"Use this Postgres server instead of a private one." placeholder:"URL" xor:"database"`
	DatabaseURLFile string `env:"LONGLEAD_DATABASE_URL_FILE" help:"Read the URL of the Postgres server from a file, to keep its password out of sight." placeholder:"FILE" xor:"database"`
	Server          string `env:"LONGLEAD_SERVER" help:"Talk to a Longlead server at this address (gRPC) instead of working here." placeholder:"HOST:PORT"`
	TokenFile       string `env:"LONGLEAD_TOKEN_FILE" help:"File with the token for --server." placeholder:"FILE"`
	PublicURL       string `name:"public-url" default:"${publicurl}" env:"LONGLEAD_PUBLIC_URL" help:"Address under which owners reach this server's HTTP side; it stands in private links." placeholder:"URL"`
	JSON            bool   `name:"json" help:"Print JSON for programs instead of tables for people."`
}

// Validate finds options that do not go together.
func (o *Options) Validate() error {
	if o.Server != "" && (o.DatabaseURL != "" || o.DatabaseURLFile != "") {
		return errors.New("--server and --database-url exclude each other: the server knows its own database")
	}
	if o.Server != "" && o.TokenFile == "" {
		return errors.New("--server needs --token-file: a file with the token that the server's operator gave you")
	}
	return checkPublicURL(o.PublicURL)
}

// checkPublicURL refuses what is no address to put a path after.
func checkPublicURL(text string) error {
	u, err := url.Parse(text)
	if text != "" && (err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "" || strings.Trim(u.Path, "/") != "") {
		return errors.New("--public-url is no web address: write one such as https://dogs.example.com, with nothing after the host")
	}
	return nil
}

// notes is where lines for people go: with --json the standard output holds one JSON document and nothing else.
func (o *Options) notes(std streams) io.Writer {
	if o.JSON {
		return std.err
	}
	return std.out
}

// command writes a command line that works on the same school as this one, for telling people what to do next.
func (o *Options) command(words string) string {
	line := "longlead " + words
	switch {
	case o.Server != "":
		line += " --server=" + o.Server + " --token-file=" + o.TokenFile
	case o.DatabaseURLFile != "":
		line += " --database-url-file=" + o.DatabaseURLFile
	case o.DatabaseURL != "":
		line += " --database-url=URL" // the URL may hold a password
	case o.Data != defaultDataDir():
		line += " --data=" + o.Data
	}
	return line
}

// databaseURL returns the URL of an existing server, or nothing for the private one.
func (o *Options) databaseURL() (string, error) {
	if o.DatabaseURLFile == "" {
		return o.DatabaseURL, nil
	}
	text, err := os.ReadFile(o.DatabaseURLFile)
	if err != nil {
		return "", fmt.Errorf("read the database URL: %w", err)
	}
	return strings.TrimSpace(string(text)), nil
}

// defaultDataDir is where the private database is kept: the user's data folder, or the working folder where there is none.
func defaultDataDir() string {
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "longlead")
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return ".longlead"
	}
	return filepath.Join(home, ".local", "share", "longlead")
}

// errorWords is what a person reads of an error: what the server said, without the codes around it.
func errorWords(err error) string {
	if known, ok := apperr.From(err); ok {
		return known.Message
	}
	s, ok := status.FromError(alone(err))
	if !ok {
		return err.Error()
	}
	return s.Message()
}

// alone takes an error out of a join of nothing else, in which kong hands every error over: of a status that is wrapped,
// status.FromError gives the codes as part of the message.
func alone(err error) error {
	for {
		joined, ok := err.(interface{ Unwrap() []error })
		if !ok || len(joined.Unwrap()) != 1 {
			return err
		}
		err = joined.Unwrap()[0]
	}
}
