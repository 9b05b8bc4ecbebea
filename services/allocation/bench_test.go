package allocation

import (
	"slices"
	"testing"
)

// benchSetup makes a problem with prices and a first plan.
func benchSetup(b *testing.B, size string) (*dual, *guide, *state) {
	b.Helper()
	p, err := Generate(size, 1)
	if err != nil {
		b.Fatal(err)
	}
	d, g := ranked(p, 100)
	s := newState(d.m)
	fill(s, g, func() bool { return false })
	return d, g, s
}

// ranked makes a model of a problem's first part, with its options ranked at the prices after some steps.
func ranked(p *Problem, steps int) (*dual, *guide) {
	m := newModel(p, components(p)[0], 1)
	d := newDual(m, m.typicalGain(), 1)
	for range steps {
		d.step(0)
	}
	g := newGuide(m)
	g.update(d.settle(), 1)
	d.resume()
	return d, g
}

func BenchmarkPriceStep(b *testing.B) {
	d, _, _ := benchSetup(b, "M")
	for b.Loop() {
		d.step(0)
	}
}

func BenchmarkMove(b *testing.B) {
	_, g, s := benchSetup(b, "M")
	x := newSearcher(s, g, newSiteUnits(s.m), s.m.typicalGain(), newRandom(1, 1))
	b.ReportAllocs()
	for b.Loop() {
		x.step()
	}
}

// BenchmarkQuickMoves is a batch of quickMoves quick moves.
func BenchmarkQuickMoves(b *testing.B) {
	_, g, s := benchSetup(b, "M")
	x := newSearcher(s, g, newSiteUnits(s.m), s.m.typicalGain(), newRandom(1, 1))
	x.temperature = 0.03 * s.m.typicalGain()
	b.ReportAllocs()
	for b.Loop() {
		x.quickBatch()
	}
}

// BenchmarkMaster is the linear programme over schedules of one small part, from twenty steps on until it has settled.
func BenchmarkMaster(b *testing.B) {
	d, _, _ := benchSetup(b, "X")
	never := func() bool { return false }
	for b.Loop() {
		s := newSchedules(d)
		w := newMaster(s, 1)
		s.evaluate(never)
		for range 20 {
			s.step(0, never)
			w.gather()
		}
		w.begin(s.bound, s.top)
		for !w.settled {
			w.generate(20, 0, never)
		}
	}
}

func BenchmarkSchedules(b *testing.B) {
	d, _, _ := benchSetup(b, "S")
	s := newSchedules(d)
	never := func() bool { return false }
	s.evaluate(never)
	for b.Loop() {
		s.step(0, never)
	}
}

func BenchmarkSolve(b *testing.B) {
	for _, size := range []string{"X", "S"} {
		p, err := Generate(size, 1)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(size, func(b *testing.B) {
			for b.Loop() {
				if _, err := Solve(p, Options{Iterations: 20_000}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// TestMoves checks the bookkeeping of the search after every move against a plan built anew, and that moves allocate nothing.
func TestMoves(t *testing.T) {
	for name, over := range map[string]int{"capacities": 0, "soft levels": 2} {
		t.Run(name, func(t *testing.T) { testMoves(t, over) })
	}
}

func testMoves(t *testing.T, over int) {
	p, err := Generate("T", 2)
	if err != nil {
		t.Fatal(err)
	}
	p.Together = [][]int{{0, 1}, {2, 3, 4}}
	p.Sites[0].CleanDown = 1
	for i := range p.Sites {
		for range p.Days {
			p.Sites[i].Minutes = append(p.Sites[i].Minutes, 500)
		}
		s := &p.Sites[i]
		level := func(n int) *Easy { return &Easy{Over: over, Upto: slices.Repeat([]int{n}, p.Days)} }
		s.EasyIntake, s.EasyHandover, s.EasyMinutes = level(1), level(1), level(400)
	}
	EvenLoad(p, 60, 15, over)
	_, g := ranked(p, 0)
	m := g.m
	s := newState(m)
	x := newSearcher(s, g, newSiteUnits(m), m.typicalGain(), newRandom(3, 1))
	x.temperature = 10
	fresh := newState(m)
	ran := 0
	for move := range 3000 {
		x.charge = 0.3 * float64(move%4)
		if move%2 == 0 {
			x.step()
		} else {
			x.quickBatch()
		}
		if move%10 != 0 {
			continue
		}
		if best, err := Check(p, m.placements(x.best)); err != nil || best != x.bestValue {
			t.Fatalf("after move %d: the best plan is worth %d, the search says %d: %v", move, best, x.bestValue, err)
		}
		value, err := Check(p, m.placements(s.at))
		if err != nil || value != s.value {
			t.Fatalf("after move %d: the plan is worth %d, the search says %d: %v", move, value, s.value, err)
		}
		fresh.restore(s.at)
		ran += len(Overflow(p, m.placements(s.at)))
		for i := range s.tight {
			if fresh.tight[i] != s.tight[i] {
				t.Fatalf("after move %d: tight bits of word %d differ", move, i)
			}
		}
		for i := range s.left {
			if fresh.left[i] != s.left[i] {
				t.Fatalf("after move %d: cell %d has %d left, the search says %d", move, i, fresh.left[i], s.left[i])
			}
		}
		for i := range s.full {
			if fresh.full[i] != s.full[i] {
				t.Fatalf("after move %d: full bits of word %d differ", move, i)
			}
		}
		for i := range s.minutes {
			if fresh.minutes[i] != s.minutes[i] || fresh.dogs[i] != s.dogs[i] {
				t.Fatalf("after move %d: lanes of word %d differ", move, i)
			}
		}
	}
	if (ran > 0) != (over > 0) {
		t.Fatalf("plans ran over levels %d times; they cost %d points", ran, over)
	}
	if n := testing.AllocsPerRun(500, func() { x.step(); x.quickBatch() }); n != 0 {
		t.Fatalf("a move makes %v allocations; none are wanted", n)
	}
}
