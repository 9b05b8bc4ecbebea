package mail

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
)

// Folder is a Sender that writes each letter to a file, which mail programs open. An attempt that is repeated writes the same file again.
type Folder struct {
	dir string
}

// NewFolder makes the folder where it is missing. Others on the machine cannot read it: letters hold names, addresses and private links.
func NewFolder(dir string) (*Folder, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("make the folder for letters: %w", err)
	}
	return &Folder{dir: dir}, nil
}

// Reaches is false: a folder wakes nobody.
func (f *Folder) Reaches() bool { return false }

// Send writes a letter. The file is there as a whole or not at all.
func (f *Folder) Send(_ context.Context, m Outgoing) (string, error) {
	path := filepath.Join(f.dir, m.Name+".eml")
	part, err := os.CreateTemp(f.dir, ".part-*")
	if err != nil {
		return "", fmt.Errorf("write a letter: %w", err)
	}
	defer func() { _ = os.Remove(part.Name()) }() // gone already when all went well
	_, err = part.Write(m.Content)
	if closeErr := part.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		err = os.Rename(part.Name(), path)
	}
	if err != nil {
		return "", fmt.Errorf("write a letter: %w", err)
	}
	return "written to " + filepath.Base(path), nil
}
