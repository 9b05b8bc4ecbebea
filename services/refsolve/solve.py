"""Solves an allocation problem file with a general solver, as a reference to compare with.

    solve.py SOLVER SECONDS THREADS FILE ANSWER

SOLVER is highs or cpsat. ANSWER is a file to write (solvers print things of their own): JSON with value and bound (whole
numbers), optimal, placements and version.
The programme has, for each dog, a binary for each placement group (y), for each run of a group (x) and for each trainer of
a group (z), with sum x = sum z = y and sum y <= 1. Every resource is one row for each day.
"""

import json
import math
import sys


class Programme:
    """Maximise value over binaries, with rows low <= sum coefficient * binary <= high."""

    def __init__(self):
        self.value = []
        self.rows = []

    def binary(self, value=0):
        self.value.append(value)
        return len(self.value) - 1

    def row(self, entries, low, high):
        self.rows.append((entries, low, high))


def build(problem):
    """Returns the programme and, for each dog, its groups as (group, y, [(class, x)], [(trainer, z)])."""
    programme = Programme()
    use = {}  # (kind, owner, class, day) -> ([(binary, amount)], capacity)

    def take(binary, amount, capacity, *key):
        if amount:
            use.setdefault(key, ([], capacity))[0].append((binary, amount))

    chosen = []
    for dog in problem["dogs"]:
        groups = []
        for group in dog["placements"]:
            groups.append(add_group(programme, take, problem, dog["nights"], group))
        chosen.append(groups)
        if groups:
            programme.row([(y, 1) for _, y, _, _ in groups], 0, 1)
    for entries, capacity in use.values():
        programme.row(entries, 0, capacity)
    for dogs in problem.get("together", []):
        keep_together(programme, [chosen[d] for d in dogs])
    return programme, chosen


def add_group(programme, take, problem, nights, group):
    s, arrival = group["site"], group["arrival"]
    site, leave = problem["sites"][s], arrival + nights
    y = programme.binary(group["value"])
    take(y, 1, site["intake"][arrival], "intake", s, 0, arrival)
    take(y, 1, site["handover"][leave], "handover", s, 0, leave)

    runs = []
    clean = min(leave + site.get("clean_down", 0), problem["days"] - 1)
    for c, penalty in group["runs"]:
        x = programme.binary(-penalty)
        runs.append((c, x))
        for k in range(arrival, clean):
            take(x, 1, site["runs"][c]["capacity"][k], "run", s, c, k)

    trainers = []
    limit = site.get("minutes")
    for entry in group["trainers"]:
        t, penalty, minutes = entry[:3]
        cover = entry[3] if len(entry) > 3 else 0
        trainer = problem["trainers"][t]
        z = programme.binary(-penalty)
        trainers.append((t, z))
        for k in range(arrival, leave):
            if trainer["works"][k]:
                take(z, minutes, trainer["minutes"][k], "trainer minutes", t, 0, k)
                take(z, 1, trainer["dogs"][k], "trainer dogs", t, 0, k)
            if limit is not None:
                take(z, minutes if trainer["works"][k] else cover, limit[k], "site minutes", s, 0, k)

    programme.row([(y, -1)] + [(x, 1) for _, x in runs], 0, 0)
    programme.row([(y, -1)] + [(z, 1) for _, z in trainers], 0, 0)
    return group, y, runs, trainers


def keep_together(programme, dogs):
    """For each site and arrival day, either every dog of the household comes then and there or none does."""
    at = [{(g["site"], g["arrival"]): y for g, y, _, _ in groups} for groups in dogs]
    for key in set().union(*at):
        first = [(at[0][key], 1)] if key in at[0] else []
        for other in at[1:]:
            second = [(other[key], -1)] if key in other else []
            if first or second:
                programme.row(first + second, 0, 0)


def solve_highs(programme, seconds, threads):
    import highspy
    import numpy

    highs = highspy.Highs()
    for option, setting in [("output_flag", False), ("time_limit", seconds), ("threads", threads),
                            ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.5)]:
        highs.setOptionValue(option, setting)
    n, m = len(programme.value), len(programme.rows)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = n, m
    lp.sense_ = highspy.ObjSense.kMaximize
    lp.col_cost_ = numpy.array(programme.value, dtype=float)
    lp.col_lower_, lp.col_upper_ = numpy.zeros(n), numpy.ones(n)
    lp.integrality_ = [highspy.HighsVarType.kInteger] * n
    lp.row_lower_ = numpy.array([low if low == high else -math.inf for _, low, high in programme.rows])
    lp.row_upper_ = numpy.array([float(high) for _, _, high in programme.rows])
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = numpy.cumsum([0] + [len(entries) for entries, _, _ in programme.rows])
    lp.a_matrix_.index_ = numpy.array([j for entries, _, _ in programme.rows for j, _ in entries])
    lp.a_matrix_.value_ = numpy.array([a for entries, _, _ in programme.rows for _, a in entries], dtype=float)
    require(highs.passModel(lp) == highspy.HighsStatus.kOk, "HiGHS refused the model")
    require(highs.run() != highspy.HighsStatus.kError, "HiGHS failed")
    info = highs.getInfo()
    have = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    picked = [v > 0.5 for v in highs.getSolution().col_value] if have else [False] * n
    optimal = highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return picked, whole_bound(programme, info.mip_dual_bound), optimal, "HiGHS " + highs.version()


def whole_bound(programme, bound):
    """Every plan's value is a whole number, so a bound may be rounded down; nothing beats taking each positive value."""
    limit = sum(v for v in programme.value if v > 0)
    return limit if not math.isfinite(bound) else min(limit, math.floor(bound + 1e-5))


def solve_cpsat(programme, seconds, threads):
    import ortools
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    binaries = [model.new_bool_var("") for _ in programme.value]
    for entries, low, high in programme.rows:
        total = cp_model.LinearExpr.weighted_sum([binaries[j] for j, _ in entries], [a for _, a in entries])
        model.add(total == low) if low == high else model.add(total <= high)
    model.maximize(cp_model.LinearExpr.weighted_sum(binaries, programme.value))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = threads
    status = solver.solve(model)
    require(status in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.UNKNOWN),
            "CP-SAT says " + solver.status_name(status))
    have = status != cp_model.UNKNOWN
    picked = [bool(solver.value(b)) for b in binaries] if have else [False] * len(binaries)
    bound = whole_bound(programme, solver.best_objective_bound if have else math.inf)
    return picked, bound, status == cp_model.OPTIMAL, "OR-Tools CP-SAT " + ortools.__version__


def require(holds, message):
    if not holds:
        sys.exit(message)


def main():
    solver, seconds, threads, path, answer = sys.argv[1], float(sys.argv[2]), int(sys.argv[3]), sys.argv[4], sys.argv[5]
    with open(path, encoding="utf-8") as f:
        problem = json.load(f)
    programme, chosen = build(problem)
    if not programme.value:
        programme.binary()  # solvers are uneasy with nothing to decide
    solve = {"highs": solve_highs, "cpsat": solve_cpsat}[solver]
    picked, bound, optimal, version = solve(programme, seconds, threads)
    placements = []
    for d, groups in enumerate(chosen):
        for group, y, runs, trainers in groups:
            if picked[y]:
                placements.append({"dog": d, "site": group["site"], "arrival": group["arrival"],
                                   "run": next(c for c, x in runs if picked[x]),
                                   "trainer": next(t for t, z in trainers if picked[z])})
    value = sum(v for v, p in zip(programme.value, picked) if p)
    with open(answer, "w", encoding="utf-8") as f:
        json.dump({"value": value, "bound": bound, "optimal": optimal, "placements": placements, "version": version}, f)


if __name__ == "__main__":
    main()
