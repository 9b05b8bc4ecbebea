// Package rpc is the edge: it decides who may call which method, checks requests, turns errors into statuses, and serves
// gRPC and HTTP/JSON from one set of servers. Nothing else maps errors to codes, and no method is open by default.
package rpc

import (
	"context"
	"slices"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	"github.com/longlead/longlead/services/apperr"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
)

// Caller is who makes a call.
type Caller struct {
	// Name is the name of the token; audit trails keep it.
	Name string
	// Permissions are what the caller may do.
	Permissions []accessv1.Permission
}

// roles are the sets of permissions that a token file names. They follow the people of a school: the manager decides, the
// site lead and the office work with records and see plans, the site lead plans the days, a trainer logs sessions, a viewer reads. The office logs none itself;
// it may bring in files of them, as it does with all that stands on paper.
var roles = map[string][]accessv1.Permission{
	"manager": {
		accessv1.Permission_PERMISSION_READ_RECORDS, accessv1.Permission_PERMISSION_WRITE_RECORDS,
		accessv1.Permission_PERMISSION_READ_PLANS, accessv1.Permission_PERMISSION_DRAFT_PLANS,
		accessv1.Permission_PERMISSION_PUBLISH_PLANS, accessv1.Permission_PERMISSION_SET_POLICY,
		accessv1.Permission_PERMISSION_LOG_SESSIONS, accessv1.Permission_PERMISSION_PLAN_DAYS,
		accessv1.Permission_PERMISSION_MANAGE_FEEDS,
		accessv1.Permission_PERMISSION_MEND_STAYS,
		accessv1.Permission_PERMISSION_MANAGE_MAIL,
		accessv1.Permission_PERMISSION_MANAGE_HANDOVERS,
		accessv1.Permission_PERMISSION_MANAGE_PEOPLE,
	},
	"site-lead": {
		accessv1.Permission_PERMISSION_READ_RECORDS, accessv1.Permission_PERMISSION_WRITE_RECORDS,
		accessv1.Permission_PERMISSION_READ_PLANS, accessv1.Permission_PERMISSION_DRAFT_PLANS,
		accessv1.Permission_PERMISSION_LOG_SESSIONS, accessv1.Permission_PERMISSION_PLAN_DAYS,
		accessv1.Permission_PERMISSION_MANAGE_FEEDS,
		accessv1.Permission_PERMISSION_MEND_STAYS,
		accessv1.Permission_PERMISSION_MANAGE_MAIL,
		accessv1.Permission_PERMISSION_MANAGE_HANDOVERS,
	},
	"office": {
		accessv1.Permission_PERMISSION_READ_RECORDS, accessv1.Permission_PERMISSION_WRITE_RECORDS,
		accessv1.Permission_PERMISSION_READ_PLANS,
		accessv1.Permission_PERMISSION_MANAGE_MAIL,
		accessv1.Permission_PERMISSION_MANAGE_HANDOVERS,
	},
	"trainer": {
		accessv1.Permission_PERMISSION_READ_RECORDS, accessv1.Permission_PERMISSION_READ_PLANS,
		accessv1.Permission_PERMISSION_LOG_SESSIONS,
	},
	"viewer": {accessv1.Permission_PERMISSION_READ_RECORDS, accessv1.Permission_PERMISSION_READ_PLANS},
}

type callerKey struct{}

// WithCaller returns a context that carries the caller.
func WithCaller(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

// CallerName returns the name of who makes the call, for audit trails; "nobody" outside of a call.
func CallerName(ctx context.Context) string {
	if c, ok := ctx.Value(callerKey{}).(Caller); ok {
		return c.Name
	}
	return "nobody"
}

// Allows reports whether who makes the call holds a permission; nobody holds any outside of a call. It is for what a reply holds beyond the
// permission that its method states.
func Allows(ctx context.Context, p accessv1.Permission) bool {
	c, ok := ctx.Value(callerKey{}).(Caller)
	return ok && slices.Contains(c.Permissions, p)
}

// openServices may be called without a token: they tell nothing about the school.
var openServices = []string{"/grpc.health.v1.Health/", "/grpc.reflection.v1.ServerReflection/", "/grpc.reflection.v1alpha.ServerReflection/"}

// isOpen reports whether a method may be called without a token.
func isOpen(method string) bool {
	return slices.ContainsFunc(openServices, func(open string) bool { return strings.HasPrefix(method, open) })
}

// authorize finds the caller of a method and refuses who may not call it. A method that states no permission is refused.
func authorize(ctx context.Context, tokens *Tokens, method string) (context.Context, error) {
	if isOpen(method) {
		return ctx, nil
	}
	md, _ := metadata.FromIncomingContext(ctx)
	caller, err := tokens.callerOf(md.Get("authorization"))
	if err != nil {
		return ctx, err
	}
	needed := PermissionOf(method)
	if needed == accessv1.Permission_PERMISSION_UNSPECIFIED {
		return ctx, apperr.Deniedf("METHOD_CLOSED", "The method %s is open to nobody: it states no permission.", method)
	}
	if !slices.Contains(caller.Permissions, needed) {
		return ctx, apperr.Deniedf("PERMISSION_MISSING", "%s may not do this: it needs %s.", caller.Name, permissionWords(needed))
	}
	return WithCaller(ctx, caller), nil
}

func permissionWords(p accessv1.Permission) string {
	return "the permission to " + strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(p.String(), "PERMISSION_"), "_", " "))
}

// PermissionOf returns the permission that a full method name ("/package.Service/Method") states in its .proto file, or
// PERMISSION_UNSPECIFIED when it states none or is not known.
func PermissionOf(method string) accessv1.Permission {
	name := strings.ReplaceAll(strings.TrimPrefix(method, "/"), "/", ".")
	descriptor, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name))
	if err != nil {
		return accessv1.Permission_PERMISSION_UNSPECIFIED
	}
	options, ok := descriptor.Options().(*descriptorpb.MethodOptions)
	if !ok || options == nil {
		return accessv1.Permission_PERMISSION_UNSPECIFIED
	}
	permission, ok := proto.GetExtension(options, accessv1.E_Permission).(accessv1.Permission)
	if !ok {
		return accessv1.Permission_PERMISSION_UNSPECIFIED
	}
	return permission
}

// authorizeUnary and authorizeStream come after the interceptors that log and map errors.
func authorizeUnary(tokens *Tokens) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
		ctx, err := authorize(ctx, tokens, info.FullMethod)
		if err != nil {
			return nil, err
		}
		return handle(ctx, req)
	}
}

func authorizeStream(tokens *Tokens) grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
		ctx, err := authorize(stream.Context(), tokens, info.FullMethod)
		if err != nil {
			return err
		}
		return handle(srv, &streamWithContext{ServerStream: stream, ctx: ctx})
	}
}

type streamWithContext struct {
	grpc.ServerStream
	ctx context.Context
}

func (s *streamWithContext) Context() context.Context { return s.ctx }
