"""Recomputes item difficulty, discrimination and quartiles with Python's standard library.

Reads one JSON object: for each sheet the points and most points of each item, what Rust made of
the items, values and what Rust made of their quartiles. Fails where they differ.
"""

import json
import math
import statistics
import sys


def close(a, b):
    return a is not None and math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-12)


given = json.load(sys.stdin)
count = len(given["items"])
for index, (difficulty, discrimination) in enumerate(given["items"]):
    own, others = [], []
    for sheet in given["points"]:
        points, most = sheet[index]
        if points is None:
            continue
        rest = [pair for place, pair in enumerate(sheet) if place != index and pair[0] is not None]
        own.append(points / most)
        others.append(sum(pair[0] for pair in rest) / sum(pair[1] for pair in rest))
    assert close(difficulty, statistics.fmean(own)), (index, difficulty)
    assert close(discrimination, statistics.correlation(own, others)), (index, discrimination)

expected = statistics.quantiles(given["values"], n=4, method="inclusive")
assert all(map(close, given["quartiles"], expected)), (given["quartiles"], expected)
assert count == 3 and len(given["points"]) == 23
