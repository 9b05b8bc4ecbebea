package enrollment

import (
	"github.com/longlead/longlead/services/workload"

	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
)

func (r *record) toProto() (*enrollmentv1.ReadDogResponse, error) {
	d := r.dog
	out := &enrollmentv1.ReadDogResponse{Code: d.Code, Name: d.Name, Breed: d.Breed, Sex: string(d.Sex), Born: d.Born.String(), WeightG: int32(d.WeightG),
		LengthMm: int32(d.LengthMM), HeightMm: int32(d.HeightMM), BiteLevel: d.BiteLevel, SeasonStarted: d.SeasonStarted.String(), Note: d.Note,
		FlatFaced: string(r.traits.FlatFaced), Overweight: string(r.traits.Overweight), TwoPeople: string(r.traits.TwoPeople), Feeding: r.upkeep.Feeding,
		Owner: &enrollmentv1.Owner{Code: r.owner.Code, Name: r.owner.Name, Email: r.owner.Email, Phone: r.owner.Phone, Zone: r.owner.Zone}}
	if r.upkeep.Vet != nil {
		out.Vet = &enrollmentv1.Vet{Name: r.upkeep.Vet.Name, Phone: r.upkeep.Vet.Phone}
	}
	for _, s := range r.shots {
		out.Vaccinations = append(out.Vaccinations, &enrollmentv1.Vaccination{Vaccine: s.Vaccine, Given: s.Given.String(), Course: string(s.Course),
			LabelMonths: int32(s.LabelMonths), LabelUntil: s.Given.AddMonths(s.LabelMonths).String()})
	}
	for _, m := range r.upkeep.Medicines {
		out.Medicines = append(out.Medicines, &enrollmentv1.Medicine{Medicine: m.Medicine, FirstDay: m.FirstDay.String(), LastDay: m.LastDay.String(), Dose: m.Dose,
			Times: m.Times, WithFood: m.WithFood, Note: m.Note})
	}
	for _, b := range r.upkeep.Bites {
		out.Bites = append(out.Bites, &enrollmentv1.Bite{Day: b.Day.String(), Level: b.Level, Note: b.Note})
	}
	for _, a := range r.apart {
		out.Apart = append(out.Apart, &enrollmentv1.Apart{DogCode: a.Code, DogName: a.Name, Reason: a.Reason})
	}
	for _, q := range workload.Questions() {
		if score, ok := r.answers[string(q.ID)]; ok {
			out.Answers = append(out.Answers, &enrollmentv1.Answer{Question: string(q.ID), Text: q.Text, Score: int32(score)})
		}
	}
	for _, line := range r.requests {
		out.Requests = append(out.Requests, requestToProto(line, r.sites))
	}
	if r.newest != nil {
		need, err := r.newest.Need(r.newest.Request.Window.From)
		if err != nil {
			return nil, err
		}
		out.Workload = workloadToProto(need, *r.newest)
	}
	return out, nil
}
