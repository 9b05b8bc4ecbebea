package services_test

import (
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
)

// fake makes a tree of files: path -> text. A text that starts with "import " becomes a Go file with that one import, where
// a leading "/" stands for our module.
func fake(t *testing.T, files map[string]string) tree {
	t.Helper()
	fsys := fstest.MapFS{}
	for path, text := range files {
		if imported, ok := strings.CutPrefix(text, "import "); ok {
			if strings.HasPrefix(imported, "/") {
				imported = module + imported
			}
			text = fmt.Sprintf("package x\n\nimport _ %q\n", imported)
		}
		fsys[path] = &fstest.MapFile{Data: []byte(text)}
	}
	loaded, err := loadTree(fsys)
	require.NoError(t, err)
	return loaded
}

// TestRulesCatch tries each rule on trees that break it (the finding must say want) and on trees that keep it (want "").
func TestRulesCatch(t *testing.T) {
	t.Parallel()
	const migration = "create table facility.site (id uuid);\ncreate table roster.shift (id uuid);\n"
	query := func(table string) string {
		return "package x\n\nconst q = `select id from " + table + " where true`\n"
	}
	tests := []struct {
		rule  string
		check func(tree) []string
		files map[string]string
		want  string
	}{
		{"layers: leaf to leaf", checkLayers, map[string]string{"services/roster/a.go": "import /services/facility"}, "leaf services never import each other"},
		{"layers: leaf to leaf in a test", checkLayers, map[string]string{"services/roster/a_test.go": "import /services/facility"}, ""},
		{"layers: handover to planner", checkLayers, map[string]string{"services/handover/a.go": "import /services/planner"}, "imports run one way"},
		{"layers: leaf's test to planner", checkLayers, map[string]string{"services/roster/a_test.go": "import /services/planner"}, "imports run one way"},
		{"layers: plumbing to leaf", checkLayers, map[string]string{"services/records/a.go": "import /services/facility"}, "imports run one way"},
		{"layers: planner to leaf", checkLayers, map[string]string{"services/planner/a.go": "import /services/facility"}, ""},
		{"layers: exchange to leaf", checkLayers, map[string]string{"services/exchange/a.go": "import /services/facility"}, "leaf services never import each other"},
		{"layers: planner to console", checkLayers, map[string]string{"services/planner/a.go": "import /services/console"}, "imports run one way"},
		{"layers: console to planner", checkLayers, map[string]string{"services/console/a.go": "import /services/planner"}, ""},
		{"layers: console to cmd", checkLayers, map[string]string{"services/console/a.go": "import /cmd/longlead"}, "imports run one way"},
		{"layers: plumbing to plumbing", checkLayers, map[string]string{"services/jobs/a.go": "import /services/postgres"}, ""},
		{"layers: leaf to pure", checkLayers, map[string]string{"services/roster/a.go": "import /services/calendar"}, ""},
		{"layers: program to test support", checkLayers, map[string]string{"cmd/longlead/a.go": "import /services/postgrestest"}, "test support may be imported by tests only"},
		{"layers: installer to the list it installs", checkLayers, map[string]string{"cmd/verify/a.go": "import /services/refsolve/venv"}, ""},
		{"layers: installer to the solvers", checkLayers, map[string]string{"cmd/verify/a.go": "import /services/refsolve"}, "test support may be imported by tests only"},
		{"layers: test to test support", checkLayers, map[string]string{"services/allocation/a_test.go": "import /services/internal/outside"}, ""},
		{"layers: unknown package", checkLayers, map[string]string{"services/billing/a.go": "import fmt"}, "has no layer"},
		{"layers: to an unknown package", checkLayers, map[string]string{"services/planner/a.go": "import /services/billing"}, "has no layer"},

		{"pure: context", checkPure, map[string]string{"services/slots/a.go": "import context"}, "reaches nothing outside"},
		{"pure: slog", checkPure, map[string]string{"services/slots/a.go": "import log/slog"}, "reaches nothing outside"},
		{"pure: http", checkPure, map[string]string{"services/workload/a.go": "import net/http"}, "reaches nothing outside"},
		{"pure: strings", checkPure, map[string]string{"services/workload/a.go": "import strings"}, ""},
		{"pure: driver in calendar", checkPure, map[string]string{"services/calendar/a.go": "import database/sql/driver"}, ""},
		{"pure: driver in workload", checkPure, map[string]string{"services/workload/a.go": "import database/sql/driver"}, "reaches nothing outside"},
		{"pure: uuid in ids", checkPure, map[string]string{"services/ids/a.go": "import github.com/google/uuid"}, ""},
		{"pure: uuid in calendar", checkPure, map[string]string{"services/calendar/a.go": "import github.com/google/uuid"}, "standard library only"},
		{"pure: solver to calendar", checkPure, map[string]string{"services/allocation/a.go": "import /services/calendar"}, "a solver imports nothing of ours"},
		{"pure: solver to its own part", checkPure, map[string]string{"services/allocation/a.go": "import /services/allocation/lp"}, ""},
		{"pure: part of a solver to os", checkPure, map[string]string{"services/allocation/lp/a.go": "import os"}, "reaches nothing outside"},
		{"pure: workload to calendar", checkPure, map[string]string{"services/workload/a.go": "import /services/calendar"}, ""},
		{"pure: to generated code", checkPure, map[string]string{"services/workload/a.go": "import /proto/longlead/roster/v1"}, "imports pure packages only"},
		{"pure: to plumbing", checkPure, map[string]string{"services/workload/a.go": "import /services/apperr"}, "imports pure packages only"},
		{"pure: os in a test", checkPure, map[string]string{"services/workload/a_test.go": "import os"}, ""},

		{"pgx: in a server file", checkPgx, map[string]string{"services/roster/server.go": "import github.com/jackc/pgx/v5"}, "only store*.go"},
		{"pgx: in a file that only sounds like a store", checkPgx, map[string]string{"services/roster/storefront.go": "import github.com/jackc/pgx/v5"}, "only store*.go"},
		{"pgx: in a command", checkPgx, map[string]string{"cmd/longlead/a.go": "import github.com/jackc/pgx/v5/pgxpool"}, "only store*.go"},
		{"pgx: in a store", checkPgx, map[string]string{"services/roster/store_spans.go": "import github.com/jackc/pgx/v5"}, ""},
		{"pgx: in postgres", checkPgx, map[string]string{"services/postgres/tx.go": "import github.com/jackc/pgx/v5"}, ""},

		{"generated: in rules", checkGenerated, map[string]string{"services/roster/roster.go": "import /proto/longlead/roster/v1"}, "convert.go"},
		{"generated: in the console, a caller", checkGenerated, map[string]string{"services/console/page.go": "import /proto/longlead/roster/v1"}, ""},
		{"generated: in a day's rules", checkGenerated, map[string]string{"services/dayplan/rules.go": "import /proto/longlead/roster/v1"}, "convert.go"},
		{"generated: in convert", checkGenerated, map[string]string{"services/roster/convert_day.go": "import /proto/longlead/roster/v1"}, ""},
		{"generated: in rpc", checkGenerated, map[string]string{"services/rpc/access.go": "import /proto/longlead/access/v1"}, ""},
		{"generated: the OpenAPI file", checkGenerated, map[string]string{"services/console/page.go": "import /proto/longlead/openapi"}, ""},

		{"tables: at home", checkTables, map[string]string{"migrations/1.sql": migration, "services/roster/a.go": query("roster.shift")}, ""},
		{"tables: abroad", checkTables, map[string]string{"migrations/1.sql": migration, "services/planner/a.go": query("roster.shift")}, "a table is named in its own package only"},
		{"tables: abroad in a test", checkTables, map[string]string{"migrations/1.sql": migration, "services/planner/a_test.go": query("roster.shift")}, ""},
		{"tables: not a table", checkTables, map[string]string{"migrations/1.sql": migration, "services/planner/a.go": query("roster.other")}, ""},
		{"tables: no schema", checkTables, map[string]string{"migrations/1.sql": "create table site (id uuid);"}, "is in no schema"},

		{"comments: none", checkPackageComments, map[string]string{"services/roster/a.go": "package roster\n"}, "has no package comment"},
		{"comments: in a test only", checkPackageComments, map[string]string{"services/roster/a.go": "package roster\n", "services/roster/a_test.go": "// Package roster is.\npackage roster\n"}, "has no package comment"},
		{"comments: in one file", checkPackageComments, map[string]string{"services/roster/a.go": "package roster\n", "services/roster/b.go": "// Package roster is.\npackage roster\n"}, ""},
		{"comments: generated", checkPackageComments, map[string]string{"proto/a.go": "// Code generated by x. DO NOT EDIT.\n\npackage a\n"}, ""},

		{"names: util", checkNames, map[string]string{"services/util/a.go": "package util\n"}, "says nothing"},
		{"names: utility room", checkNames, map[string]string{"services/utilityroom/a.go": "package utilityroom\n"}, ""},

		{"init", checkInit, map[string]string{"services/a/a.go": "package a\n\nfunc init() {}\n"}, "init function"},
		{"method called init", checkInit, map[string]string{"services/a/a.go": "package a\n\ntype t int\n\nfunc (t) init() {}\n"}, ""},

		{"sizes: long function", tooLong, map[string]string{"services/a/a.go": "package a\n\nfunc f() {" + strings.Repeat("\n", tooLongFunction) + "}\n"}, "function f has 81 lines"},
		{"sizes: function at the limit", tooLong, map[string]string{"services/a/a.go": "package a\n\nfunc f() {" + strings.Repeat("\n", tooLongFunction-1) + "}\n"}, ""},
		{"sizes: long file", tooLong, map[string]string{"services/a/a.go": "package a" + strings.Repeat("\n", tooLongFile+1)}, "services/a/a.go has 501 lines"},
		{"sizes: long test", tooLong, map[string]string{"services/a/a_test.go": "package a" + strings.Repeat("\n", tooLongFile+1)}, ""},

		{"top: a stray file", func(tree) []string { return checkTop([]string{"services/a.go", "notes.txt"}) }, nil, "notes.txt stands in the top folder"},
		{"top: as agreed", func(tree) []string { return checkTop([]string{".ci/run", "cmd/verify/main.go", "go.mod"}) }, nil, ""},
	}
	for _, tt := range tests {
		t.Run(tt.rule, func(t *testing.T) {
			t.Parallel()
			found := tt.check(fake(t, tt.files))
			if tt.want == "" {
				require.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			require.Contains(t, found[0], tt.want)
		})
	}
}

func tooLong(t tree) []string {
	_, found := checkSizes(t)
	return found
}

func TestLongIsSaid(t *testing.T) {
	t.Parallel()
	long, found := checkSizes(fake(t, map[string]string{"services/a/a.go": "package a\n\nfunc f() {" + strings.Repeat("\n", longFunction) + "}\n"}))
	require.Empty(t, found)
	require.Len(t, long, 1)
}

// TestLoadTreeLeavesOut: what the go command passes over, and other modules, are not ours to judge.
func TestLoadTreeLeavesOut(t *testing.T) {
	t.Parallel()
	loaded := fake(t, map[string]string{"services/a/a.go": "package a\n", "services/a/testdata/b.go": "package b\n", ".hidden/c.go": "package c\n",
		"proto/codegen/go.mod": "module other\n", "proto/codegen/main.go": "package main\n", "go.mod": "module x\n"})
	require.Len(t, loaded.sources, 1)
	require.Equal(t, "services/a/a.go", loaded.sources[0].path)
}

func TestPermissionRuleCatches(t *testing.T) {
	t.Parallel()
	file := methodsWith(t, map[string]*accessv1.Permission{"Open": nil, "Blank": accessv1.Permission_PERMISSION_UNSPECIFIED.Enum(), "Kept": accessv1.Permission_PERMISSION_READ_PLANS.Enum()})
	find := func(path string) (protoreflect.FileDescriptor, error) {
		if path == "known.proto" {
			return file, nil
		}
		return nil, protoregistry.NotFound
	}
	methods, found := checkPermissions([]string{"known.proto"}, find)
	require.Equal(t, 3, methods)
	require.Len(t, found, 2)
	require.Contains(t, strings.Join(found, "\n"), "made.up.Service.Open has no permission")
	require.Contains(t, strings.Join(found, "\n"), "made.up.Service.Blank has no permission")

	_, found = checkPermissions([]string{"unknown.proto"}, find)
	require.Len(t, found, 1)
	require.Contains(t, found[0], "not linked into this test")
}

// methodsWith makes a service with methods that have the given permissions.
func methodsWith(t *testing.T, permissions map[string]*accessv1.Permission) protoreflect.FileDescriptor {
	t.Helper()
	service := &descriptorpb.ServiceDescriptorProto{Name: proto.String("Service")}
	for name, permission := range permissions {
		options := &descriptorpb.MethodOptions{}
		if permission != nil {
			proto.SetExtension(options, accessv1.E_Permission, *permission)
		}
		service.Method = append(service.Method, &descriptorpb.MethodDescriptorProto{Name: proto.String(name), InputType: proto.String(".made.up.M"),
			OutputType: proto.String(".made.up.M"), Options: options})
	}
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{Name: proto.String("known.proto"), Package: proto.String("made.up"), Syntax: proto.String("proto3"),
		MessageType: []*descriptorpb.DescriptorProto{{Name: proto.String("M")}}, Service: []*descriptorpb.ServiceDescriptorProto{service}}, nil)
	require.NoError(t, err)
	return file
}
