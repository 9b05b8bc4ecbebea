"""Solves an allocation problem file with a general solver, as a reference to compare with.

    solve.py SOLVER SECONDS THREADS FILE ANSWER [FORMAT]

SOLVER is highs, cpsat, scip or cbc. FORMAT is allocation (FILE may be compressed with gzip) or gap, the OR-Library layout of
the generalised assignment problem; there value and bound are costs with a minus. ANSWER is a file to write (solvers print
things of their own): JSON with value and bound (whole numbers), optimal, placements, version, threads (those really used) and
seconds (with handing the model to the solver, without reading FILE).
The programme has, for each dog, a binary for each placement group (y), for each run of a group (x) and for each trainer of
a group (z), with sum x = sum z = y and sum y <= 1. Every resource is one row for each day, and so is every soft level, with
a whole number of units over it that costs its points.
"""

import gzip
import json
import math
import os
import re
import subprocess
import sys
import tempfile
import time


class Programme:
    """Maximise value over whole numbers from 0 to most, with rows low <= sum coefficient * number <= high."""

    def __init__(self):
        self.value = []
        self.most = []
        self.rows = []
        self.levels = []  # soft levels: (entries, level, points for a unit over it, the number of such units)

    def binary(self, value=0):
        return self.number(value, 1)

    def number(self, value, most):
        self.value.append(value)
        self.most.append(most)
        return len(self.value) - 1

    def level(self, entries, level, points):
        most = sum(amount for _, amount in entries)
        if points == 0 or most <= level:
            return
        over = self.number(-points, most - level)
        self.row(entries + [(over, -1)], 0, level)
        self.levels.append((entries, level, points, over))

    def worth(self, picked):
        """Counts the value of the picked binaries, soft levels included, whatever the solver says of the units over them."""
        total = sum(v for v, p in zip(self.value, picked) if p)
        for entries, level, points, over in self.levels:
            if picked[over]:
                total += points
            total -= points * max(0, sum(amount for j, amount in entries if picked[j]) - level)
        return total

    def row(self, entries, low, high):
        self.rows.append((entries, low, high))


def build(problem):
    """Returns the programme and, for each dog, its groups as (group, y, [(class, x)], [(trainer, z)])."""
    programme = Programme()
    use = {}  # (kind, owner, class, day) -> ([(binary, amount)], capacity)
    soft = {}  # (kind, owner, day) -> ([(binary, amount)], level, points)

    def take(binary, amount, capacity, *key):
        if amount:
            use.setdefault(key, ([], capacity))[0].append((binary, amount))

    def ease(binary, amount, easy, kind, owner, day):
        if easy:
            unit = max(1, easy.get("unit", 1))
            units = (amount + unit // 2) // unit
            if units:
                soft.setdefault((kind, owner, day), ([], easy["upto"][day], easy["over"]))[0].append((binary, units))

    chosen = []
    for dog in problem["dogs"]:
        groups = []
        for group in dog["placements"]:
            groups.append(add_group(programme, take, ease, problem, dog["nights"], group))
        chosen.append(groups)
        if groups:
            programme.row([(y, 1) for _, y, _, _ in groups], 0, 1)
    for entries, capacity in use.values():
        programme.row(entries, 0, capacity)
    for entries, level, points in soft.values():
        programme.level(entries, level, points)
    for dogs in problem.get("together", []):
        keep_together(programme, [chosen[d] for d in dogs])
    return programme, chosen


def add_group(programme, take, ease, problem, nights, group):
    s, arrival = group["site"], group["arrival"]
    site, leave = problem["sites"][s], arrival + nights
    y = programme.binary(group["value"])
    take(y, 1, site["intake"][arrival], "intake", s, 0, arrival)
    take(y, 1, site["handover"][leave], "handover", s, 0, leave)
    ease(y, 1, site.get("easy_intake"), "intake", s, arrival)
    ease(y, 1, site.get("easy_handover"), "handover", s, leave)

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
                ease(z, minutes, trainer.get("easy"), "trainer", t, k)
            if limit is not None:
                here = minutes if trainer["works"][k] else cover
                take(z, here, limit[k], "site minutes", s, 0, k)
                ease(z, here, site.get("easy_minutes"), "site minutes", s, k)

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
    lp.col_lower_, lp.col_upper_ = numpy.zeros(n), numpy.array(programme.most, dtype=float)
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
    binaries = [model.new_int_var(0, most, "") for most in programme.most]
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


def solve_scip(programme, seconds, threads):
    """SCIP works with one thread: its concurrent mode in the packaged build gave no second processor and worse plans."""
    import pyscipopt

    model = pyscipopt.Model()
    model.hideOutput()
    binaries = [model.addVar(vtype="B" if most == 1 else "I", ub=most, obj=v) for v, most in zip(programme.value, programme.most)]
    model.setMaximize()
    for entries, low, high in programme.rows:
        total = pyscipopt.quicksum(a * binaries[j] for j, a in entries)
        model.addCons(total == low if low == high else total <= high)
    model.setParam("limits/time", seconds)
    model.setParam("limits/absgap", 0.5)
    model.optimize()
    have = model.getNSols() > 0
    best = model.getBestSol() if have else None
    picked = [have and model.getSolVal(best, b) > 0.5 for b in binaries]
    bound = model.getDualbound()
    bound = whole_bound(programme, bound if abs(bound) < model.infinity() else math.inf)
    optimal = model.getStatus() in ("optimal", "gaplimit")
    return picked, bound, optimal, "SCIP %s" % model.version()


def solve_cbc(programme, seconds, threads):
    """Runs the program that the package pulp brings, for the package itself does not tell the bound."""
    import pulp

    cbc = pulp.PULP_CBC_CMD().path
    with tempfile.TemporaryDirectory() as folder:
        model, plan = os.path.join(folder, "model.mps"), os.path.join(folder, "plan.txt")
        write_mps(programme, model)
        done = subprocess.run([cbc, model, "-timeMode", "elapsed", "-sec", str(seconds), "-threads", str(threads),
                               "-allowableGap", "0.5", "-ratioGap", "0", "-solve", "-solution", plan],
                              capture_output=True, text=True, check=False)
        require(done.returncode == 0 and os.path.exists(plan), "CBC failed: " + done.stdout[-2000:] + done.stderr[-2000:])
        with open(plan, encoding="utf-8") as f:
            return read_cbc(programme, done.stdout, f.read())


def write_mps(programme, path):
    """CBC minimises, so the values change sign."""
    columns = [[] for _ in programme.value]
    for i, (entries, _, _) in enumerate(programme.rows):
        for j, amount in entries:
            columns[j].append((i, amount))
    with open(path, "w", encoding="utf-8") as f:
        f.write("NAME MODEL\nROWS\n N  OBJ\n")
        for i, (_, low, high) in enumerate(programme.rows):
            f.write(" %s  R%d\n" % ("E" if low == high else "L", i))
        f.write("COLUMNS\n    MARKER                 'MARKER'                 'INTORG'\n")
        for j, column in enumerate(columns):
            f.write("    C%-8d  OBJ       %d\n" % (j, -programme.value[j]))
            for i, amount in column:
                f.write("    C%-8d  R%-8d  %d\n" % (j, i, amount))
        f.write("    MARKER                 'MARKER'                 'INTEND'\nRHS\n")
        for i, (_, _, high) in enumerate(programme.rows):
            f.write("    RHS        R%-8d  %d\n" % (i, high))
        f.write("BOUNDS\n")
        for j in range(len(columns)):
            f.write(" UP BND        C%-8d  %d\n" % (j, programme.most[j]))
        f.write("ENDATA\n")


def read_cbc(programme, said, plan):
    """Reads what CBC says at its end and its plan: lines of index, name, value and reduced cost below a line of status."""
    head, _, body = plan.partition("\n")
    optimal = head.startswith("Optimal")
    have = optimal or (head.startswith("Stopped") and "no integer solution" not in head)
    picked = [False] * len(programme.value)
    for line in body.splitlines() if have else []:
        words = line.replace("**", " ").split()
        if len(words) >= 3 and words[1][0] == "C":
            picked[int(words[1][1:])] = float(words[2]) > 0.5
    # After the cost of the best plan the result names the bound, under either word.
    found = re.findall(r"^(?:Lower|Upper) bound:\s+(\S+)", said, re.M)
    bound = -float(found[-1]) if found else math.inf
    if optimal and not found:
        # Proven to within the allowed half point, hence exactly: values are whole numbers.
        bound = programme.worth(picked)
    version = re.search(r"^Version:\s*(\S+)", said, re.M)
    return picked, whole_bound(programme, bound), optimal, "CBC " + (version.group(1) if version else "of unknown version")


def require(holds, message):
    if not holds:
        sys.exit(message)


def read_gap(path):
    """Returns the programme of a generalised assignment problem and its choices in the form that build returns."""
    with open(path, encoding="utf-8") as f:
        numbers = iter([int(word) for word in f.read().split()])
    agents, jobs = next(numbers), next(numbers)
    cost, weight = ([[next(numbers) for _ in range(jobs)] for _ in range(agents)] for _ in range(2))
    capacity = [next(numbers) for _ in range(agents)]
    programme, chosen = Programme(), []
    z = [[programme.binary(-cost[a][j]) for j in range(jobs)] for a in range(agents)]
    for a in range(agents):
        programme.row([(z[a][j], weight[a][j]) for j in range(jobs)], 0, capacity[a])
    for j in range(jobs):
        programme.row([(z[a][j], 1) for a in range(agents)], 1, 1)
        chosen.append([({"site": 0, "arrival": 0}, z[a][j], [(0, z[a][j])], [(a, z[a][j])]) for a in range(agents)])
    return programme, chosen


def read(path, form):
    if form == "gap":
        return read_gap(path)
    with (gzip.open if path.endswith(".gz") else open)(path, "rt", encoding="utf-8") as f:
        return build(json.load(f))


def main():
    solver, seconds, threads, path, answer = sys.argv[1], float(sys.argv[2]), int(sys.argv[3]), sys.argv[4], sys.argv[5]
    programme, chosen = read(path, sys.argv[6] if len(sys.argv) > 6 else "allocation")
    if not programme.value:
        programme.binary()  # solvers are uneasy with nothing to decide
    solve = {"highs": solve_highs, "cpsat": solve_cpsat, "scip": solve_scip, "cbc": solve_cbc}[solver]
    start = time.monotonic()
    picked, bound, optimal, version = solve(programme, seconds, threads)
    took = time.monotonic() - start
    placements = []
    for d, groups in enumerate(chosen):
        for group, y, runs, trainers in groups:
            if picked[y]:
                placements.append({"dog": d, "site": group["site"], "arrival": group["arrival"],
                                   "run": next(c for c, x in runs if picked[x]),
                                   "trainer": next(t for t, z in trainers if picked[z])})
    value = programme.worth(picked)
    with open(answer, "w", encoding="utf-8") as f:
        json.dump({"value": value, "bound": bound, "optimal": optimal, "placements": placements, "version": version,
                   "threads": 1 if solver == "scip" else threads, "seconds": took}, f)


if __name__ == "__main__":
    main()
