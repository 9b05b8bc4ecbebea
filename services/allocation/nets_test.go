package allocation

import "testing"

// TestNets compares what groups leave over, computed list by list, with the same computed option by option.
func TestNets(t *testing.T) {
	p, err := Generate("S", 3)
	if err != nil {
		t.Fatal(err)
	}
	p.Together = [][]int{{0, 1}, {2, 3, 4}, {5, 6}, {7, 8}, {9, 10}}
	for i := range p.Dogs {
		for g := range p.Dogs[i].Placements {
			list := p.Dogs[i].Placements[g].Trainers
			for j := range list {
				list[j].Cover = i % 3
			}
		}
	}
	EvenLoad(p, 60, 15, 2)
	for _, part := range components(p) {
		m := newModel(p, part, 2)
		d := newDual(m, m.typicalGain(), 2)
		for range 30 {
			d.step(0)
		}
		x := &netting{t: d.t}
		for dog := range m.dogOf {
			for j, left := range x.of(dog) {
				if want, _ := d.t.best(m.dogFirst[dog] + int32(j)); left != want {
					t.Fatalf("dog %d, group %d leaves over %d, one option after the other %d", dog, j, left, want)
				}
			}
		}
		for u := range m.units() {
			if want, _ := d.t.surplus(u); d.sum[u] != want {
				t.Fatalf("unit %d leaves over %d, one option after the other %d", u, d.sum[u], want)
			}
		}
	}
}
