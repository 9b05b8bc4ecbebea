package services_test

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	_ "github.com/longlead/longlead/proto/longlead/dayplan/v1"
	_ "github.com/longlead/longlead/proto/longlead/daysheet/v1"
	_ "github.com/longlead/longlead/proto/longlead/enrollment/v1"
	_ "github.com/longlead/longlead/proto/longlead/exchange/v1"
	_ "github.com/longlead/longlead/proto/longlead/facility/v1"
	_ "github.com/longlead/longlead/proto/longlead/graduation/v1"
	_ "github.com/longlead/longlead/proto/longlead/handover/v1"
	_ "github.com/longlead/longlead/proto/longlead/mail/v1"
	_ "github.com/longlead/longlead/proto/longlead/people/v1"
	_ "github.com/longlead/longlead/proto/longlead/planner/v1"
	_ "github.com/longlead/longlead/proto/longlead/readiness/v1"
	_ "github.com/longlead/longlead/proto/longlead/roster/v1"
	_ "github.com/longlead/longlead/proto/longlead/training/v1"
)

// checkPermissions: every method says who may call it. find returns the descriptor of a .proto file, as protoregistry does;
// methods counts those that were looked at.
func checkPermissions(paths []string, find func(path string) (protoreflect.FileDescriptor, error)) (methods int, found []string) {
	for _, path := range paths {
		file, err := find(path)
		if err != nil {
			found = append(found, fmt.Sprintf("proto/%s is not linked into this test; import its generated package in services/arch_proto_test.go", path))
			continue
		}
		for s := range file.Services().Len() {
			service := file.Services().Get(s)
			for m := range service.Methods().Len() {
				method := service.Methods().Get(m)
				methods++
				if proto.GetExtension(method.Options(), accessv1.E_Permission) == accessv1.Permission_PERMISSION_UNSPECIFIED {
					found = append(found, fmt.Sprintf("proto/%s: %s has no permission; add option (longlead.access.v1.permission)", path, method.FullName()))
				}
			}
		}
	}
	return methods, found
}
