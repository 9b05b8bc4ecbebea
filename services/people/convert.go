package people

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

func personToProto(p Listed) *peoplev1.Person {
	out := &peoplev1.Person{Id: p.ID.String(), Login: p.Login, Name: p.Name, Role: p.Role, SiteCode: p.SiteCode, TrainerCode: p.TrainerCode, MustChange: p.MustChange,
		MadeAt: timestamppb.New(p.MadeAt)}
	if p.SeenAt != nil {
		out.SeenAt = timestamppb.New(*p.SeenAt)
	}
	if p.DisabledAt != nil {
		out.DisabledAt = timestamppb.New(*p.DisabledAt)
	}
	return out
}
