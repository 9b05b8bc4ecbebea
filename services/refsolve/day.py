"""Solves site days with OR-Tools CP-SAT, as a reference to compare with.

Standard input is JSON: a list of days in the form of services/dayblocks. Standard output is JSON: the solver's version, and for each day the value
and bound that were found; value is null for a day without any plan. Rules and costs are written down here anew, from their description.
"""

import itertools
import json
import sys

import ortools
from ortools.sat.python import cp_model


def steps(day, spans):
    """The steps that the spans cover."""
    return {k for s in spans or [] for k in range(s["From"] // day["Step"], s["To"] // day["Step"])}


def starts(free, length):
    """The steps at which so many free steps in a row begin."""
    return [k for k in sorted(free) if all(k + i in free for i in range(length))]


class Programme:
    def __init__(self, day):
        self.day, self.m, self.cost = day, cp_model.CpModel(), []
        self.size = day["Minutes"] // day["Step"]
        self.change = day["Changeover"] // day["Step"]
        self.policy = day["Policy"]
        self.trainers = day["Trainers"] or []
        self.areas = day["Areas"] or []
        self.dogs = day["Dogs"] or []
        self.hours = [steps(day, t["Hours"]) - steps(day, t["Fixed"]) for t in self.trainers]
        self.busy = [[] for _ in self.trainers]  # intervals
        self.worked = [[] for _ in self.trainers]  # literal, start, busy steps
        self.within = [[] for _ in self.areas]  # dog, interval, demand
        self.breaks = [[] for _ in self.trainers]
        self.used = {}
        for t, x in enumerate(self.trainers):
            for b in x["Breaks"] or []:
                self.rest(t, b)
        for i, dog in enumerate(self.dogs):
            self.add_dog(i, dog)
        self.share()

    def bool(self):
        return self.m.new_bool_var("")

    def fixed(self, values, name=""):
        return self.m.new_int_var_from_domain(cp_model.Domain.from_values(values), name)

    def rest(self, t, b):
        n = b["Minutes"] // self.day["Step"]
        free = steps(self.day, [b["Within"]])
        may = [k for k in starts(self.hours[t], n) if all(k + i in free for i in range(n))]
        if not may:
            self.m.add_bool_or([])
            return
        start = self.fixed(may)
        self.busy[t].append(self.m.new_fixed_size_interval_var(start, n, ""))
        self.breaks[t].append((start, n))

    def add_dog(self, i, dog):
        sessions = dog["Sessions"] or []
        away = steps(self.day, dog["Away"])
        items = [self.add_session(i, dog, s, away) for s in sessions]
        held = [x[0] for x in items]
        n = len(items)
        weight = max(1, dog["Weight"])
        left = self.m.new_int_var(0, n, "")
        self.m.add(left == n - sum(held))
        price = self.m.new_int_var(0, 10**9, "")
        self.m.add_element(left, [weight * self.policy["Drop"] * k * (k + 1) // 2 for k in range(n + 1)], price)
        self.cost.append(price)
        for s, h in zip(sessions, held):
            self.cost.append(s["Extra"] * (1 - h))
        self.order(dog, sessions, items)
        areas = [self.used[i, a] for a in range(len(self.areas)) if (i, a) in self.used]
        if areas:
            more = self.m.new_int_var(0, len(areas), "")
            self.m.add(more >= sum(areas) - 1)
            self.cost.append(self.policy["Change"] * more)

    def add_session(self, i, dog, s, away):
        m, day = self.m, self.day
        length = s["Minutes"] // day["Step"]
        busy = length + self.change
        held, start = self.bool(), m.new_int_var(0, self.size, "")
        by, at, second = [], [], []
        for h in s["Handlers"] or []:
            lit, t = self.bool(), h["Trainer"]
            by.append(lit)
            may = starts(self.hours[t], busy)
            m.add_linear_expression_in_domain(start, cp_model.Domain.from_values(may)).only_enforce_if(lit)
            self.busy[t].append(m.new_optional_fixed_size_interval_var(start, busy, lit, ""))
            self.worked[t].append((lit, start, busy))
            self.cost.append(h["Points"] * lit)
            finish = self.trainers[t]["Finish"] // day["Step"]
            if finish:
                late = self.bool()
                m.add(start + busy <= finish).only_enforce_if([lit, ~late])
                self.cost.append(self.policy["Late"] * late)
        if dog["Two"]:
            seconds = s.get("Seconds")
            if seconds is None:
                seconds = [{"Trainer": t, "Points": 0} for t in range(len(self.trainers))]
            for h in seconds:
                lit, t = self.bool(), h["Trainer"]
                second.append(lit)
                self.cost.append(h["Points"] * lit)
                may = starts(self.hours[t], busy)
                m.add_linear_expression_in_domain(start, cp_model.Domain.from_values(may)).only_enforce_if(lit)
                self.busy[t].append(m.new_optional_fixed_size_interval_var(start, busy, lit, ""))
                self.worked[t].append((lit, start, busy))
            m.add(sum(second) == held)
        for p in s["Areas"] or []:
            lit, a = self.bool(), p["Area"]
            at.append(lit)
            free = steps(day, self.areas[a]["Open"]) - away - steps(day, p["Closed"])
            may = starts(free, length)
            m.add_linear_expression_in_domain(start, cp_model.Domain.from_values(may)).only_enforce_if(lit)
            demand = self.areas[a]["Dogs"] if dog["Alone"] else 1
            if self.areas[a]["Dogs"] == 0:
                m.add(lit == 0)
            self.within[a].append((i, m.new_optional_fixed_size_interval_var(start, length, lit, ""), demand))
            self.cost.append(p["Points"] * lit)
            used = self.used.setdefault((i, a), self.bool())
            m.add_implication(lit, used)
        kept = s.get("Kept") or {"Start": 0, "Points": 0}
        if kept["Points"]:
            moved = self.bool()
            m.add(start == kept["Start"] // day["Step"]).only_enforce_if([held, ~moved])
            self.cost.append(kept["Points"] * moved)
        m.add(sum(by) == held)
        m.add(sum(at) == held)
        return held, start, length, s["Skill"]

    def order(self, dog, sessions, items):
        m = self.m
        rest = dog["Rest"] // self.day["Step"]
        spread = -(-self.policy["Spread"] // self.day["Step"])
        n = len(items)
        before = {}
        for i, j in itertools.permutations(range(n), 2):
            before[i, j] = self.bool()
            m.add_implication(before[i, j], items[i][0])
            m.add_implication(before[i, j], items[j][0])
            m.add(items[j][1] >= items[i][1] + items[i][2] + rest).only_enforce_if(before[i, j])
        for i, j in itertools.combinations(range(n), 2):
            m.add_bool_or(before[i, j], before[j, i], ~items[i][0], ~items[j][0])
            m.add_at_most_one(before[i, j], before[j, i])
        following = {}
        for i, j in before:
            between = []
            for k in range(n):
                if k not in (i, j):
                    b = self.bool()
                    m.add_bool_or(b, ~before[i, k], ~before[k, j])
                    m.add_implication(b, before[i, k])
                    m.add_implication(b, before[k, j])
                    between.append(b)
            f = self.bool()
            m.add_bool_or([f, ~before[i, j]] + between)
            m.add_implication(f, before[i, j])
            for b in between:
                m.add_implication(f, ~b)
            following[i, j] = f
            near = self.bool()
            m.add(items[j][1] - items[i][1] - items[i][2] >= spread).only_enforce_if([f, ~near])
            self.cost.append(self.policy["Near"] * near)
        for i, j, k in itertools.permutations(range(n), 3):
            if items[i][3] == items[j][3] == items[k][3]:
                m.add_bool_or(~following[i, j], ~following[j, k])

    def share(self):
        """The rules between dogs."""
        m = self.m
        apart = {tuple(sorted(p)) for p in self.day["Apart"] or []}
        for a, inside in enumerate(self.within):
            if inside:
                m.add_cumulative([x[1] for x in inside], [x[2] for x in inside], self.areas[a]["Dogs"])
            for x, y in itertools.combinations(inside, 2):
                if tuple(sorted((x[0], y[0]))) in apart:
                    m.add_no_overlap([x[1], y[1]])
        for t in range(len(self.trainers)):
            m.add_no_overlap(self.busy[t])
            self.idle(t)

    def idle(self, t):
        m = self.m
        if not self.policy["Idle"] or not self.worked[t]:
            return
        first, last = m.new_int_var(0, self.size, ""), m.new_int_var(0, self.size, "")
        for lit, start, busy in self.worked[t]:
            m.add(first <= start).only_enforce_if(lit)
            m.add(last >= start + busy).only_enforce_if(lit)
        m.add(first <= last)
        count = [0]
        for k in range(self.size):
            count.append(count[-1] + (k in self.hours[t]))
        upto, since = m.new_int_var(0, self.size, ""), m.new_int_var(0, self.size, "")
        m.add_element(last, count, upto)
        m.add_element(first, count, since)
        taken = [busy * lit for lit, _, busy in self.worked[t]]
        for start, n in self.breaks[t]:
            inside = self.bool()
            m.add(start >= first).only_enforce_if(inside)
            m.add(start + n <= last).only_enforce_if(inside)
            taken.append(n * inside)
        waits = m.new_int_var(0, self.size, "")
        m.add(waits >= upto - since - sum(taken))
        self.cost.append(self.policy["Idle"] * waits)

    def solve(self):
        self.m.minimize(sum(self.cost))
        s = cp_model.CpSolver()
        s.parameters.num_workers = 2
        s.parameters.max_time_in_seconds = 60
        status = s.solve(self.m)
        worth = sum(
            max(1, d["Weight"]) * self.policy["Drop"] * n * (n + 1) // 2 + sum(x["Extra"] for x in d["Sessions"] or [])
            for d in self.dogs
            for n in [len(d["Sessions"] or [])]
        )
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return {"value": None, "bound": None}
        return {"value": worth - round(s.objective_value), "bound": worth - round(s.best_objective_bound)}


days = json.load(sys.stdin)
json.dump({"version": "OR-Tools " + ortools.__version__, "days": [Programme(d).solve() for d in days]}, sys.stdout)
