"""Solves problems of handover slots with OR-Tools CP-SAT, as a reference to compare with.

Standard input is JSON: the seconds for each problem, and the problems in the form of services/slots. Standard output is JSON: the solver's
version, and for each problem the value and bound that were found. Rules and costs are written down here anew, from their description.
"""

import json
import sys
import time

import ortools
from ortools.sat.python import cp_model


def joined(spans):
    """The spans in order, those that touch made one."""
    out = []
    for s in sorted((x["From"], x["To"]) for x in spans or [] if x["From"] < x["To"]):
        if out and s[0] <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], s[1]))
        else:
            out.append(s)
    return out


class Programme:
    def __init__(self, p):
        self.p, self.m, self.cost = p, cp_model.CpModel(), []
        self.size = p["Minutes"]
        self.by_trainer = [[] for _ in p["Trainers"] or []]
        self.by_area = [[] for _ in p["Areas"] or []]
        self.by_gate = [[] for _ in p["Gates"] or []]  # what begins when, what ends when
        self.on_day = [[] for _ in p["Days"] or []]
        self.taken = [0 for _ in p["Days"] or []]
        for f in p["Fixed"] or []:
            self.add_fixed(f)
        for v in p["Visits"] or []:
            self.add(v)
        self.share()

    def add_fixed(self, f):
        a, b = f["From"], f["To"]
        if f["Trainer"] >= 0:
            self.by_trainer[f["Trainer"]].append((None, a, b))
        if f["Area"] >= 0:
            self.by_area[f["Area"]].append((None, a, b))
        if f["Gate"] >= 0:
            self.by_gate[f["Gate"]].append((None, a, b))
        for n, d in enumerate(self.p["Days"] or []):
            if f["Handover"] and d["Open"]["From"] <= a < d["Open"]["To"]:
                self.taken[n] += 1

    def add(self, v):
        m, length = self.m, v["Minutes"]
        held = m.new_bool_var("")
        grid = cp_model.Domain.from_values(list(range(0, self.size, self.p["Step"])))
        begin = m.new_int_var_from_domain(grid, "")
        self.cost.append(v["Miss"] * (1 - held))

        def inside(lit, spans):
            fits = cp_model.Domain.from_intervals([[a, b - length] for a, b in spans if b - a >= length])
            m.add_linear_expression_in_domain(begin, fits).only_enforce_if(lit)

        def one(list_, enforce):
            lits = []
            for x in list_ or []:
                lit = m.new_bool_var("")
                self.cost.append(x["Points"] * lit)
                enforce(lit, x)
                lits.append(lit)
            m.add(sum(lits) == held)
            return lits

        one(v["Windows"], lambda lit, w: inside(lit, [(w["From"], w["To"])]))
        days = [dict(d, Points=0, Of=n) for n, d in enumerate(self.p["Days"] or [])]

        def day(lit, d):
            inside(lit, [(d["Open"]["From"], d["Open"]["To"])])
            self.on_day[d["Of"]].append(lit)

        def trainer(lit, x):
            inside(lit, joined(self.p["Trainers"][x["Of"]]["Free"]))
            self.by_trainer[x["Of"]].append((lit, begin, begin + length))

        def area(lit, x):
            inside(lit, joined(self.p["Areas"][x["Of"]]["Open"]))
            self.by_area[x["Of"]].append((lit, begin, begin + length))

        def gate(lit, x):
            self.by_gate[x["Of"]].append((lit, begin, begin + length))

        one(days, day)
        choices = [(v["Trainers"], trainer, "Trainer"), (v["Areas"], area, "Area"), (v["Gates"], gate, "Gate")]
        lits = [(one(list_, enforce), list_ or [], name) for list_, enforce, name in choices]
        kept = v["Kept"]
        if not kept["Moved"] and not kept["Changed"]:
            return
        same, moved, changed = m.new_bool_var(""), m.new_bool_var(""), m.new_bool_var("")
        m.add(begin == kept["Slot"]["Begin"]).only_enforce_if(same)
        m.add(begin != kept["Slot"]["Begin"]).only_enforce_if(~same)
        m.add_bool_or(moved, same, ~held)
        as_it_was = []
        for list_, of, name in lits:
            as_it_was.append(sum(lit for lit, x in zip(list_, of) if x["Of"] == kept["Slot"][name]))
        m.add(sum(as_it_was) == 3).only_enforce_if([same, held, ~changed])
        self.cost += [kept["Moved"] * moved, kept["Changed"] * changed]

    def share(self):
        """The rules between visits. What is fixed never clashes with what is fixed."""
        m = self.m
        for n, d in enumerate(self.p["Days"] or []):
            left = d["Places"] - self.taken[n]
            m.add(sum(self.on_day[n]) <= max(0, left))
        for list_ in self.by_trainer:
            pause = self.p["Pause"]
            self.each_two(list_, [(2, 1, pause, True)])
        for a, list_ in zip(self.p["Areas"] or [], self.by_area):
            self.area(a["Room"], list_)
        for g, list_ in zip(self.p["Gates"] or [], self.by_gate):
            for x, y, room in [(1, 1, g["Spacing"]), (2, 2, g["Spacing"]), (1, 2, g["Passing"]), (2, 1, g["Passing"])]:
                self.each_two(list_, [(x, y, room, False)])

    def each_two(self, list_, rules):
        """For whole visits, one ends the room before the other begins; for moments, they lie the room apart."""
        m = self.m
        for i, a in enumerate(list_):
            for b in list_[:i]:
                on = [x[0] for x in (a, b) if x[0] is not None]
                if not on:
                    continue
                for x, y, room, whole in rules:
                    first = m.new_bool_var("")
                    if whole:
                        m.add(b[1] >= a[2] + room).only_enforce_if([*on, first])
                        m.add(a[1] >= b[2] + room).only_enforce_if([*on, ~first])
                    else:
                        m.add(b[y] >= a[x] + room).only_enforce_if([*on, first])
                        m.add(a[x] >= b[y] + room).only_enforce_if([*on, ~first])

    def area(self, room, list_):
        m = self.m
        ours = [x for x in list_ if x[0] is not None]
        fixed = [x for x in list_ if x[0] is None]
        intervals = [m.new_optional_interval_var(b, e - b, e, lit, "") for lit, b, e in ours]
        # Stretches of what is fixed take what they leave less than the room of; they never take more than the room.
        edges = sorted({k for _, a, b in fixed for k in (a, b)})
        load, demands = [], []
        for a, b in zip(edges, edges[1:]):
            n = sum(1 for _, x, y in fixed if x <= a and b <= y)
            if n:
                load.append(m.new_fixed_size_interval_var(a, b - a, ""))
                demands.append(min(n, room))
        m.add_cumulative(intervals + load, [1] * len(intervals) + demands, room)

    def solve(self, seconds):
        self.m.minimize(sum(self.cost))
        s = cp_model.CpSolver()
        s.parameters.num_workers = 2
        s.parameters.max_time_in_seconds = seconds
        began = time.monotonic()
        status = s.solve(self.m)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return {"Value": None, "Bound": None, "Seconds": time.monotonic() - began}
        worth = sum(v["Miss"] for v in self.p["Visits"] or [])
        return {
            "Value": worth - round(s.objective_value),
            "Bound": worth - round(s.best_objective_bound),
            "Seconds": time.monotonic() - began,
        }


given = json.load(sys.stdin)
out = [Programme(p).solve(given["Seconds"]) for p in given["Problems"]]
json.dump({"Version": "OR-Tools " + ortools.__version__, "Problems": out}, sys.stdout)
