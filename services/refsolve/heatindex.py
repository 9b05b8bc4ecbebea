"""Prints MetPy's heat index for weather that is read from standard input, as a reference to compare with.

The input is JSON: a list of [temperature in degrees Fahrenheit, relative humidity in percent]. The output is JSON too: version,
and index, a list of heat indices in degrees Fahrenheit.
"""

import json
import sys

import metpy
import numpy
from metpy.calc import heat_index
from metpy.units import units

temperature, humidity = numpy.array(json.load(sys.stdin), dtype=float).T
# mask_undefined would leave out everything below 80 F.
index = heat_index(units.Quantity(temperature, "degF"), units.Quantity(humidity, "percent"), mask_undefined=False)
json.dump({"version": "MetPy " + metpy.__version__, "index": index.to("degF").magnitude.tolist()}, sys.stdout)
