package main

import (
	"context"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/assembly"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

type importCmd struct {
	Paths   []string `arg:"" help:"Files, or folders of files. A file's name says which records it holds, such as requests.csv."`
	Kind    string   `help:"Kind of record, for a file whose name does not say it." placeholder:"KIND"`
	SkipBad bool     `help:"Import the good rows, and write the bad ones beside the file with a column of reasons."`
	Dates   string   `help:"How to read dates such as 3/4/2027: dmy or mdy." enum:",dmy,mdy" default:"" placeholder:"ORDER"`
	DryRun  bool     `help:"Check the files and change nothing."`
}

// Run imports.
func (c *importCmd) Run(ctx context.Context, o *Options, std streams) error {
	files, paths, err := readFiles(c.Paths, c.Kind)
	if err != nil {
		return err
	}
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	report, err := importFiles(ctx, a, &exchangev1.ImportRequest{Files: files, SkipBad: c.SkipBad, Dates: c.Dates, DryRun: c.DryRun}, std)
	if err != nil {
		return err
	}
	if err := writeRejected(report, paths); err != nil {
		return err
	}
	if o.JSON {
		if err := printJSON(std.out, report); err != nil {
			return err
		}
	} else {
		printImport(std.out, o, report, c.DryRun, c.SkipBad)
	}
	if len(report.GetFaults()) > 0 && !(c.SkipBad && report.GetImported()) {
		return exitError(exitFaults)
	}
	return nil
}

// importFiles sends files and shows progress until the report comes.
func importFiles(ctx context.Context, a *app, req *exchangev1.ImportRequest, std streams) (*exchangev1.ImportReport, error) {
	stream, err := exchangev1.NewExchangeServiceClient(a.conn).Import(ctx, req)
	if err != nil {
		return nil, err
	}
	show := newProgress(std.err, "Importing")
	defer show.stop()
	for {
		event, err := stream.Recv()
		if err != nil {
			return nil, err
		}
		if event.GetReport() != nil {
			return event.GetReport(), nil
		}
		show.update(strings.TrimSpace(event.GetPhase()+" "+event.GetKind()), int64(event.GetRowsDone()), int64(event.GetRows()))
	}
}

// readFiles reads files and the table files in folders. It returns the path of each file by the name that was sent.
func readFiles(paths []string, kind string) ([]*exchangev1.ImportFile, map[string]string, error) {
	var found []string
	for _, p := range paths {
		info, err := os.Stat(p)
		if err != nil {
			return nil, nil, usageError(fmt.Sprintf("there is no file or folder %s that can be read", p))
		}
		if !info.IsDir() {
			found = append(found, p)
			continue
		}
		inside, err := tablesIn(os.DirFS(p))
		if err != nil {
			return nil, nil, fmt.Errorf("read the folder %s: %w", p, err)
		}
		for _, name := range inside {
			found = append(found, filepath.Join(p, name))
		}
	}
	if len(found) == 0 {
		return nil, nil, usageError("there is no .csv or .xlsx file in " + strings.Join(paths, ", "))
	}
	var files []*exchangev1.ImportFile
	sent := map[string]string{}
	for _, p := range found {
		content, err := os.ReadFile(p)
		if err != nil {
			return nil, nil, fmt.Errorf("read %s: %w", p, err)
		}
		name := filepath.Base(p)
		if _, twice := sent[name]; twice {
			name = p
		}
		sent[name] = p
		files = append(files, &exchangev1.ImportFile{Name: name, Kind: kind, Content: content})
	}
	return files, sent, nil
}

// tablesIn lists the table files of a folder, without the ones that an import wrote itself.
func tablesIn(folder fs.FS) ([]string, error) {
	entries, err := fs.ReadDir(folder, ".")
	var names []string
	for _, e := range entries {
		ext := strings.ToLower(filepath.Ext(e.Name()))
		if !e.IsDir() && slices.Contains([]string{".csv", ".xlsx", ".tsv"}, ext) && !strings.Contains(e.Name(), ".rejected.") && !strings.HasPrefix(e.Name(), "~$") {
			names = append(names, e.Name())
		}
	}
	return names, err
}

// writeRejected writes the rejected rows beside their files.
func writeRejected(report *exchangev1.ImportReport, paths map[string]string) error {
	for _, f := range report.GetFiles() {
		if len(f.GetRejectedContent()) == 0 {
			continue
		}
		folder := "."
		// A table of a workbook is named after its file and its sheet.
		for name, p := range paths {
			if f.GetName() == name || strings.HasPrefix(f.GetName(), name+" sheet ") {
				folder = filepath.Dir(p)
			}
		}
		target := filepath.Join(folder, filepath.Base(f.GetRejectedName()))
		if err := os.WriteFile(target, f.GetRejectedContent(), 0o600); err != nil {
			return fmt.Errorf("write the rejected rows: %w", err)
		}
	}
	return nil
}

type exportCmd struct {
	Kinds  []string `arg:"" optional:"" help:"Kinds of record; all when none is named."`
	To     string   `help:"Folder to write to; with one kind, a dash writes to the standard output." default:"." placeholder:"DIR"`
	Format string   `help:"csv or xlsx; several kinds as xlsx make one workbook." enum:"csv,xlsx" default:"csv"`
}

// Run exports.
func (c *exportCmd) Run(ctx context.Context, o *Options, std streams) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	stream, err := exchangev1.NewExchangeServiceClient(a.conn).Export(ctx, &exchangev1.ExportRequest{Kinds: c.Kinds, Format: c.Format})
	if err != nil {
		return err
	}
	files := map[string][]byte{}
	var order []string
	for {
		piece, err := stream.Recv()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		if _, known := files[piece.GetName()]; !known {
			order = append(order, piece.GetName())
		}
		files[piece.GetName()] = append(files[piece.GetName()], piece.GetContent()...)
	}
	return c.write(order, files, std)
}

func (c *exportCmd) write(order []string, files map[string][]byte, std streams) error {
	if c.To == "-" {
		if len(order) != 1 {
			return usageError("only one file fits on the standard output: name one kind")
		}
		_, err := std.out.Write(files[order[0]])
		return err
	}
	if err := os.MkdirAll(c.To, 0o755); err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	for _, name := range order {
		// Exports hold names and addresses of owners, so only their writer may read them.
		if err := os.WriteFile(filepath.Join(c.To, filepath.Base(name)), files[name], 0o600); err != nil {
			return fmt.Errorf("write the export: %w", err)
		}
		fmt.Fprintln(std.err, "wrote", filepath.Join(c.To, filepath.Base(name)))
	}
	return nil
}

type templateCmd struct {
	Kind   string `arg:"" optional:"" help:"Kind of record; without one the kinds are listed."`
	Format string `help:"csv or xlsx." enum:"csv,xlsx" default:"csv"`
	To     string `help:"File to write; without it the standard output for csv, KIND.xlsx for xlsx." placeholder:"FILE"`
}

// Run writes a template. It needs no database: the kinds are part of the program.
func (c *templateCmd) Run(o *Options, std streams) error {
	ports := assembly.Ports()
	if c.Kind == "" {
		return printKinds(std.out, ports, o.JSON)
	}
	content, err := templateOf(ports, c.Kind, c.Format)
	if err != nil {
		return err
	}
	target := c.To
	if target == "" && c.Format == "xlsx" {
		target = c.Kind + ".xlsx"
	}
	if target == "" {
		_, err = std.out.Write(content)
		return err
	}
	if err := os.WriteFile(target, content, 0o644); err != nil {
		return fmt.Errorf("write the template: %w", err)
	}
	fmt.Fprintln(std.err, "wrote", target)
	return nil
}
