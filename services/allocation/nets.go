package allocation

import "slices"

// dayPrice are a trainer's prefix sums of the price of a minute and of a dog in hand, side by side.
type dayPrice struct{ minute, dog micro }

// netting computes what all groups of one dog leave over at their best options. Neighbouring groups nearly always share their lists of
// runs and trainers, so it goes through each list once for all the groups that share it, trainer by trainer.
type netting struct {
	t       *tariff
	net     []micro
	kept    []micro // of a household's dogs so far
	run, tr []micro
	days    []stayDays
}

type stayDays struct{ arrive, leave, vacate int16 }

// of is what each of dog d's groups leaves over. It is valid until the next call.
func (x *netting) of(d int) []micro {
	m := x.t.m
	from, to := m.dogFirst[d], m.dogFirst[d+1]
	x.net = slices.Grow(x.net[:0], int(to-from))[:to-from]
	for at := from; at < to; {
		first := &m.groups[at]
		end := at + 1
		for end < to {
			g := &m.groups[end]
			if g.site != first.site || g.runFrom != first.runFrom || g.trainerFrom != first.trainerFrom {
				break
			}
			end++
		}
		x.share(m.groups[at:end], x.net[at-from:end-from])
		at = end
	}
	return x.net
}

// keep copies a sum away before the next call of of.
func (x *netting) keep(sum []micro) []micro {
	x.kept = append(x.kept[:0], sum...)
	return x.kept
}

// share does it for groups that share their lists.
func (x *netting) share(groups []group, net []micro) {
	n := len(groups)
	x.days = slices.Grow(x.days[:0], n)[:n]
	x.run, x.tr = slices.Grow(x.run[:0], n)[:n], slices.Grow(x.tr[:0], n)[:n]
	for i := range groups {
		g := &groups[i]
		x.days[i] = stayDays{g.arrive, g.leave, g.vacate}
		x.run[i], x.tr[i] = 1<<62, 1<<62
	}
	x.runs(&groups[0])
	x.trainers(&groups[0])
	for i := range groups {
		net[i] = x.t.base(&groups[i]) - x.run[i] - x.tr[i]
	}
}

func (x *netting) runs(g *group) {
	m := x.t.m
	best := x.run[:len(x.days)]
	for _, r := range m.groupRuns(g) {
		pre := x.t.pre[int(r.line)*m.stride : (int(r.line)+1)*m.stride]
		penalty := micro(r.penalty) << m.shift
		for i, at := range x.days {
			if c := penalty + pre[at.vacate] - pre[at.arrive]; c < best[i] {
				best[i] = c
			}
		}
	}
}

func (x *netting) trainers(g *group) {
	m, t := x.t.m, x.t
	best := x.tr[:len(x.days)]
	list := m.groupTrainers(g)
	for j := range list {
		c := &list[j]
		if c.cover != 0 || c.load != 0 {
			x.trainer(c)
			continue
		}
		day := t.day[int(c.trainer)*m.stride : (int(c.trainer)+1)*m.stride]
		penalty, minutes := micro(c.penalty)<<m.shift, micro(c.minutes)
		for i, at := range x.days {
			a, e := &day[at.arrive], &day[at.leave]
			if cost := penalty + minutes*(e.minute-a.minute) + e.dog - a.dog; cost < best[i] {
				best[i] = cost
			}
		}
	}
}

// trainer is the same for one with cover minutes or a soft level.
func (x *netting) trainer(c *trainerChoice) {
	m, t := x.t.m, x.t
	from, to := int(c.trainer)*m.stride, (int(c.trainer)+1)*m.stride
	day, cover := t.day[from:to], t.cover[from:to]
	var load []micro
	if c.load != 0 {
		load = t.load[from:to]
	}
	for i, at := range x.days {
		a, e := &day[at.arrive], &day[at.leave]
		cost := micro(c.penalty)<<m.shift + micro(c.minutes)*(e.minute-a.minute) + e.dog - a.dog + micro(c.cover)*(cover[at.leave]-cover[at.arrive])
		if load != nil {
			cost += micro(c.load) * (load[at.leave] - load[at.arrive])
		}
		x.tr[i] = min(x.tr[i], cost)
	}
}
