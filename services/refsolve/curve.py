"""Fits learning curves with SciPy, as a reference to compare with.

The input on standard input is JSON: a list of cases, each with sessions (a list of [number from 1, trials, successes]), priors
([mean, spread] of the logits of start and theta), at (sessions before the check), need and trials (of the check). The output is
JSON: version, and fits, a list of start, theta, start_error, theta_error (best fit and standard errors) and chance (of at least
need passes).
"""

import json
import sys

import numpy
import scipy
from scipy import optimize, special, stats


def rate(a, b, x):
    """The success rate after x sessions, from the logits of start and theta."""
    return 1 - special.expit(-a) * special.expit(-b) ** x


def log_density(case, a, b):
    """The logarithm of likelihood times prior, for arrays of logits."""
    total = stats.norm.logpdf(a, *case["priors"][0]) + stats.norm.logpdf(b, *case["priors"][1])
    for number, trials, successes in case["sessions"]:
        total = total + stats.binom.logpmf(successes, trials, rate(a, b, number - 1))
    return total


def fit(case):
    typical = [case["priors"][0][0], case["priors"][1][0]]
    options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000}
    top = optimize.minimize(lambda v: -log_density(case, *v), typical, method="Nelder-Mead", options=options)
    h = 1e-4
    information = numpy.empty((2, 2))
    for i in range(2):
        for j in range(2):
            corners = [(s * t, top.x + h * (s * numpy.eye(2)[i] + t * numpy.eye(2)[j])) for s in (1, -1) for t in (1, -1)]
            information[i, j] = -sum(sign * log_density(case, *at) for sign, at in corners) / (4 * h * h)
    error = numpy.sqrt(numpy.diag(numpy.linalg.inv(information)))
    start, theta = special.expit(top.x)
    return {"start": start, "theta": theta, "start_error": start * (1 - start) * error[0], "theta_error": theta * (1 - theta) * error[1],
            "chance": chance(case, top)}


def chance(case, top):
    """Averages the chance of passing the check, by Gauss-Legendre over 7 standard deviations of the prior, in 24 pieces a side."""
    nodes, weights = numpy.polynomial.legendre.leggauss(8)
    points, parts = [], []
    for mean, spread in case["priors"]:
        edges = numpy.linspace(mean - 7 * spread, mean + 7 * spread, 25)
        middle, half = (edges[1:] + edges[:-1]) / 2, numpy.diff(edges) / 2
        points.append((middle[:, None] + half[:, None] * nodes).ravel())
        parts.append((half[:, None] * weights).ravel())
    a, b = points[0][:, None], points[1][None, :]
    density = numpy.exp(log_density(case, a, b) + top.fun) * parts[0][:, None] * parts[1][None, :]
    passed = stats.binom.sf(case["need"] - 1, case["trials"], rate(a, b, case["at"]))
    return (density * passed).sum() / density.sum()


json.dump({"version": "SciPy " + scipy.__version__, "fits": [fit(case) for case in json.load(sys.stdin)]}, sys.stdout)
