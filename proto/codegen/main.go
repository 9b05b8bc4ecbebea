// Command codegen makes the generated Go and the OpenAPI file from the .proto files. It first prints the third-party
// .proto files that ours import (from the descriptors linked into this program, so that no copy is kept by hand) and then
// runs buf.
//
//	go -C proto/codegen run .             prints and generates
//	go -C proto/codegen run . -only-print prints the third-party files alone, for buf lint and buf breaking
package main

import (
	"flag"
	"fmt"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	_ "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/jhump/protoreflect/v2/protoprint"
	_ "google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// imported are the third-party files that our .proto files name. Google's own google/protobuf/ files are known to buf.
var imported = []string{"google/api/annotations.proto", "buf/validate/validate.proto"}

func main() {
	log.SetFlags(0)
	onlyPrint := flag.Bool("only-print", false, "print the third-party files and stop")
	flag.Parse()
	if err := run(*onlyPrint); err != nil {
		log.Fatalf("codegen: %v", err)
	}
}

// run works from the folder of this program, which is where `go -C` puts it.
func run(onlyPrint bool) error {
	root, err := filepath.Abs("../..")
	if err != nil {
		return err
	}
	if err := printThirdParty(filepath.Join(root, "proto", "thirdparty")); err != nil || onlyPrint {
		return err
	}
	if err := os.MkdirAll(filepath.Join(root, "proto/longlead/openapi"), 0o755); err != nil {
		return err
	}
	// buf starts the plugins in its own working folder, and `go tool` there must find the project's go.mod.
	cmd := exec.Command("go", "tool", "-modfile=proto/codegen/go.mod", "buf", "generate")
	cmd.Dir, cmd.Stdout, cmd.Stderr = root, os.Stdout, os.Stderr
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("buf generate: %w", err)
	}
	return nil
}

func printThirdParty(folder string) error {
	seen := map[string]bool{}
	for _, path := range imported {
		file, err := protoregistry.GlobalFiles.FindFileByPath(path)
		if err != nil {
			return fmt.Errorf("find %s among the linked descriptors: %w", path, err)
		}
		if err := printFile(folder, file, seen); err != nil {
			return err
		}
	}
	return nil
}

func printFile(folder string, file protoreflect.FileDescriptor, seen map[string]bool) error {
	if seen[file.Path()] || strings.HasPrefix(file.Path(), "google/protobuf/") {
		return nil
	}
	seen[file.Path()] = true
	imports := file.Imports()
	for i := range imports.Len() {
		if err := printFile(folder, imports.Get(i).FileDescriptor, seen); err != nil {
			return err
		}
	}
	text, err := (&protoprint.Printer{}).PrintProtoToString(file)
	if err != nil {
		return fmt.Errorf("print %s: %w", file.Path(), err)
	}
	target := filepath.Join(folder, filepath.FromSlash(file.Path()))
	if err := os.MkdirAll(filepath.Dir(target), 0o755); err != nil {
		return err
	}
	return os.WriteFile(target, []byte(text), 0o644)
}
