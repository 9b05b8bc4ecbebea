// Package deploy_test holds the examples in this folder against the program: every command line, flag and variable in them
// must exist, and what can be read or verified on this machine is. It holds tests only.
package deploy_test

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"
)

// program builds longlead once for all tests.
var program = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "longlead-deploy")
	if err != nil {
		return "", err
	}
	path := filepath.Join(dir, "longlead")
	out, err := exec.Command("go", "build", "-o", path, "../cmd/longlead").CombinedOutput()
	if err != nil {
		return "", errors.Join(err, errors.New(string(out)))
	}
	return path, nil
})

func TestMain(m *testing.M) {
	code := m.Run()
	if path, err := program(); err == nil {
		_ = os.RemoveAll(filepath.Dir(path))
	}
	os.Exit(code)
}

func longlead(t *testing.T) string {
	t.Helper()
	path, err := program()
	require.NoError(t, err)
	return path
}

// texts are the files of this folder by name.
func texts(t *testing.T) map[string]string {
	t.Helper()
	found := map[string]string{}
	require.NoError(t, fs.WalkDir(os.DirFS("."), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && path == "secrets" {
			return errors.Join(err, fs.SkipDir)
		}
		if d.IsDir() || strings.HasSuffix(path, ".go") {
			return nil
		}
		text, err := os.ReadFile(path)
		found[path] = strings.ReplaceAll(string(text), "\\\n", " ")
		return err
	}))
	require.Greater(t, len(found), 8)
	return found
}

// documents reads all YAML documents of a file.
func documents(t *testing.T, text string) []map[string]any {
	t.Helper()
	var all []map[string]any
	decoder := yaml.NewDecoder(strings.NewReader(text))
	for {
		var one map[string]any
		err := decoder.Decode(&one)
		if errors.Is(err, io.EOF) {
			return all
		}
		require.NoError(t, err)
		all = append(all, one)
	}
}

// at follows keys and list indexes into a document; nil when there is nothing.
func at(node any, path ...any) any {
	for _, step := range path {
		switch key := step.(type) {
		case string:
			m, _ := node.(map[string]any)
			node = m[key]
		case int:
			list, _ := node.([]any)
			if key >= len(list) {
				return nil
			}
			node = list[key]
		}
	}
	return node
}

func words(node any) []string {
	list, _ := node.([]any)
	var out []string
	for _, one := range list {
		text, _ := one.(string)
		out = append(out, text)
	}
	return out
}

// commandLine is what a file tells the program to do.
type commandLine struct {
	file string
	args []string
}

// commandLines finds them all.
func commandLines(t *testing.T) []commandLine {
	t.Helper()
	var all []commandLine
	for file, text := range texts(t) {
		switch {
		case strings.HasSuffix(file, ".service"):
			for _, m := range regexp.MustCompile(`(?m)^Exec\w+=/usr/local/bin/longlead (.*)$`).FindAllStringSubmatch(text, -1) {
				all = append(all, commandLine{file, strings.Fields(m[1])})
			}
		case file == "Dockerfile":
			for _, m := range regexp.MustCompile(`(?m)^CMD (\[.*\])$`).FindAllStringSubmatch(text, -1) {
				var list []any
				require.NoError(t, yaml.Unmarshal([]byte(m[1]), &list))
				all = append(all, commandLine{file, words(list)})
			}
		case file == "compose.yaml":
			services, _ := at(documents(t, text)[0], "services").(map[string]any)
			for _, service := range services {
				if image, _ := at(service, "image").(string); image == "longlead" {
					all = append(all, commandLine{file, words(at(service, "command"))})
				}
			}
		case strings.HasPrefix(file, "kubernetes/"):
			for _, document := range documents(t, text) {
				if args := words(at(document, "spec", "template", "spec", "containers", 0, "args")); args != nil {
					all = append(all, commandLine{file, args})
				}
			}
		case file == "README.md":
			for _, m := range regexp.MustCompile("(?m)(?:^|`)longlead ([a-z][^`\n#]*)").FindAllStringSubmatch(text, -1) {
				all = append(all, commandLine{file, strings.Fields(m[1])})
			}
		}
	}
	return all
}

var flagName = regexp.MustCompile(`--[a-z][a-z-]*`)

func TestEveryCommandLineIsKnown(t *testing.T) {
	t.Parallel()
	all := commandLines(t)
	files := map[string]int{}
	for _, line := range all {
		files[line.file]++
		if fault := faultOf(t, line.args); fault != "" {
			t.Errorf("%s: longlead %s: %s", line.file, strings.Join(line.args, " "), fault)
		}
	}
	require.Equal(t, 3, files["compose.yaml"])
	require.Equal(t, 1, files["Dockerfile"])
	for _, file := range []string{"systemd/longlead.service", "systemd/longlead-migrate.service", "kubernetes/longlead.yaml", "kubernetes/migrate.yaml"} {
		require.Equal(t, 1, files[file], file)
	}
	require.Greater(t, files["README.md"], 4)

	// The check can fail.
	require.Contains(t, faultOf(t, []string{"serv"}), "no such command")
	require.Contains(t, faultOf(t, []string{"serve", "--token=x"}), "no flag --token")
	require.Contains(t, faultOf(t, []string{"migrate", "--grpc=x"}), "no flag --grpc")
	require.Contains(t, faultOf(t, nil), "no command")
}

// faultOf holds a command line against the help of its command.
func faultOf(t *testing.T, args []string) string {
	t.Helper()
	at := slices.IndexFunc(args, func(a string) bool { return strings.HasPrefix(a, "-") })
	if at < 0 {
		at = len(args)
	}
	command := args[:at]
	if len(command) == 0 {
		return "no command"
	}
	if len(command) > 2 || len(command) == 2 && command[0] != "plan" {
		command = command[:1] // the others are arguments
	}
	help, err := exec.Command(longlead(t), append(slices.Clone(command), "--help")...).Output()
	if err != nil || !strings.HasPrefix(string(help), "Usage: longlead "+strings.Join(command, " ")+" ") {
		return "no such command"
	}
	known := flagName.FindAllString(string(help), -1)
	for _, arg := range args[at:] {
		if name := flagName.FindString(arg); strings.HasPrefix(arg, "-") && !slices.Contains(known, name) {
			return "no flag " + name
		}
	}
	return ""
}

func TestEveryVariableIsKnown(t *testing.T) {
	t.Parallel()
	variable := regexp.MustCompile(`LONGLEAD_[A-Z_]+`)
	var known []string
	for _, args := range [][]string{{"--help"}, {"serve", "--help"}} {
		help, err := exec.Command(longlead(t), args...).Output()
		require.NoError(t, err)
		known = append(known, variable.FindAllString(string(help), -1)...)
	}
	require.Greater(t, len(known), 3)
	seen := 0
	for file, text := range texts(t) {
		for _, name := range variable.FindAllString(text, -1) {
			seen++
			require.Contains(t, known, name, file)
		}
	}
	require.Greater(t, seen, 1)
}

func TestYAMLReads(t *testing.T) {
	t.Parallel()
	read := 0
	for file, text := range texts(t) {
		if strings.HasSuffix(file, ".yaml") {
			require.NotEmpty(t, documents(t, text), file)
			read++
		}
	}
	require.Equal(t, 5, read)
}

func TestCompose(t *testing.T) {
	t.Parallel()
	compose := documents(t, texts(t)["compose.yaml"])[0]
	services, _ := at(compose, "services").(map[string]any)
	secrets, _ := at(compose, "secrets").(map[string]any)
	for name, service := range services {
		for _, secret := range words(at(service, "secrets")) {
			require.Contains(t, secrets, secret, name)
		}
		// A path below /run/secrets is there only when the service has that secret.
		text, err := yaml.Marshal(service)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`/run/secrets/([a-z-]+)`).FindAllStringSubmatch(string(text), -1) {
			require.Contains(t, words(at(service, "secrets")), m[1], name)
		}
		for _, port := range words(at(service, "ports")) {
			require.True(t, strings.HasPrefix(port, "127.0.0.1:"), "%s opens %s to others", name, port)
		}
		depends, _ := at(service, "depends_on").(map[string]any)
		for other := range depends {
			require.Contains(t, services, other, name)
		}
	}
	for _, name := range []string{"longlead", "worker"} {
		require.Equal(t, "service_completed_successfully", at(services[name], "depends_on", "migrate", "condition"), "migrate first")
	}
}

func TestKubernetes(t *testing.T) {
	t.Parallel()
	all := append(documents(t, texts(t)["kubernetes/longlead.yaml"]), documents(t, texts(t)["kubernetes/migrate.yaml"])...)
	byKind := map[any]map[string]any{}
	for _, document := range all {
		byKind[document["kind"]] = document
	}
	for _, kind := range []string{"Deployment", "Job"} {
		pod := at(byKind[kind], "spec", "template", "spec")
		container := at(pod, "containers", 0)
		require.Equal(t, true, at(pod, "securityContext", "runAsNonRoot"), kind)
		require.Equal(t, "RuntimeDefault", at(pod, "securityContext", "seccompProfile", "type"), kind)
		require.Equal(t, false, at(pod, "automountServiceAccountToken"), kind)
		require.Equal(t, false, at(container, "securityContext", "allowPrivilegeEscalation"), kind)
		require.Equal(t, true, at(container, "securityContext", "readOnlyRootFilesystem"), kind)
		require.Equal(t, []any{"ALL"}, at(container, "securityContext", "capabilities", "drop"), kind)
		require.Equal(t, at(pod, "volumes", 0, "name"), at(container, "volumeMounts", 0, "name"), kind)
		require.Equal(t, "/secrets", at(container, "volumeMounts", 0, "mountPath"), kind)
		require.Equal(t, "longlead", at(pod, "volumes", 0, "secret", "secretName"), kind)
	}
	deployment := byKind["Deployment"]
	container := at(deployment, "spec", "template", "spec", "containers", 0)
	require.Equal(t, at(deployment, "spec", "selector", "matchLabels"), at(deployment, "spec", "template", "metadata", "labels"))
	require.Equal(t, at(byKind["Service"], "spec", "selector"), at(deployment, "spec", "selector", "matchLabels"))
	require.Equal(t, at(container, "ports", 0, "containerPort"), at(container, "readinessProbe", "grpc", "port"))
	args := strings.Join(words(at(container, "args")), " ")
	require.Contains(t, args, "--grpc=0.0.0.0:7610")
	require.Equal(t, 7610, at(container, "ports", 0, "containerPort"))
}

func TestKustomize(t *testing.T) {
	t.Parallel()
	tool, err := exec.LookPath("kubectl")
	if err != nil {
		t.Skip("kubectl is not installed: the manifests were read, but not put together")
	}
	var stderr bytes.Buffer
	build := exec.Command(tool, "kustomize", "kubernetes")
	build.Stderr = &stderr
	out, err := build.Output()
	require.NoError(t, err, stderr.String())
	var kinds []any
	for _, document := range documents(t, string(out)) {
		kinds = append(kinds, document["kind"])
		if image := at(document, "spec", "template", "spec", "containers", 0, "image"); image != nil {
			job := documents(t, texts(t)["kubernetes/migrate.yaml"])[0]
			require.Equal(t, at(job, "spec", "template", "spec", "containers", 0, "image"), image, "both run the same program")
		}
	}
	require.ElementsMatch(t, []any{"Namespace", "Service", "Deployment", "PodDisruptionBudget"}, kinds)
}

func TestSystemdUnits(t *testing.T) {
	t.Parallel()
	tool, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("systemd-analyze is not installed: the units were read, but not verified")
	}
	units := func(change func(string) string) []string {
		dir := t.TempDir()
		var paths []string
		for _, name := range []string{"longlead.service", "longlead-migrate.service"} {
			text, err := os.ReadFile(filepath.Join("systemd", name))
			require.NoError(t, err)
			// The program is not installed on this machine; the one that we built stands in for it.
			paths = append(paths, filepath.Join(dir, name))
			changed := change(strings.ReplaceAll(string(text), "/usr/local/bin/longlead", longlead(t)))
			require.NoError(t, os.WriteFile(paths[len(paths)-1], []byte(changed), 0o644))
		}
		return paths
	}
	verify := func(paths []string) string {
		out, err := exec.Command(tool, append([]string{"verify", "--man=no", "--recursive-errors=no"}, paths...)...).CombinedOutput()
		if err != nil {
			return string(out) + err.Error()
		}
		return string(out)
	}
	require.Empty(t, verify(units(func(text string) string { return text })))
	require.Contains(t, verify(units(func(text string) string {
		return strings.ReplaceAll(text, "Restart=on-failure", "Restart=now and then")
	})), "restart specifier", "the check can fail")
}
