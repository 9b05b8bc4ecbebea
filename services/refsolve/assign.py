"""Solves assignment problems with SciPy, as a reference to compare with.

Standard input is JSON: a list of matrices of costs. Standard output is JSON: the library's version, and the least cost of each.
"""

import json
import sys

import numpy
import scipy
from scipy.optimize import linear_sum_assignment


def least(costs):
    costs = numpy.array(costs)
    return int(costs[linear_sum_assignment(costs)].sum())


json.dump({"Version": "SciPy " + scipy.__version__, "Costs": [least(m) for m in json.load(sys.stdin)]}, sys.stdout)
