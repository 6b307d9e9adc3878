"""Block means by ordinary kriging on open data, by other people's mathematics.

    python grid.py SILL RANGE NUGGET        (exponential model, the range being its parameter)

Data: meuse, 155 topsoil samples of zinc (Burrough & McDonnell 1998), as scikit-gstat ships them; natural logarithms. Each block is
a square of 40 m read at nine places. Its mean is the mean of what PyKrige predicts at the places (kriging is linear); its variance
comes from the equations with semivariances and a Lagrange multiplier, solved by numpy. The nugget is an error of the samples, not of
the ground. Prints JSON.
"""

import csv
import json
import sys
from pathlib import Path

import numpy as np
import skgstat
from pykrige.ok import OrdinaryKriging

sill, range_, nugget = map(float, sys.argv[1:4])
path = Path(skgstat.__path__[0]) / "data/samples/meuse.txt"
text = path.read_text()
rows = list(csv.DictReader(text.splitlines(), delimiter="\t" if "\t" in text.splitlines()[0] else ","))
x, y, zinc = (np.array([float(row[name]) for row in rows]) for name in ("x", "y", "zinc"))
value = np.log(zinc)


def pattern(h):
    return sill * (1.0 - np.exp(-h / range_))


def apart(a, b):
    return np.hypot(a[:, None, 0] - b[None, :, 0], a[:, None, 1] - b[None, :, 1])


at = np.column_stack([x, y])
n = len(at)
# PyKrige's exponential model reaches 95 % of its sill at its range.
model = {"psill": sill, "range": 3.0 * range_, "nugget": nugget}
kriging = OrdinaryKriging(x, y, value, "exponential", model, exact_values=False)
full = np.ones((n + 1, n + 1))
# The error is the samples' alone: C_ii is the sill and the nugget, so the semivariance, sill less C, is less than 0 on the diagonal.
full[:n, :n] = pattern(apart(at, at)) - nugget * np.eye(n)
full[n, n] = 0.0
blocks = []
for middle in ((179000.0, 330200.0), (180300.0, 331500.0), (181100.0, 333400.0), (178700.0, 329800.0), (180000.0, 333000.0)):
    steps = np.array([-40.0 / 3.0, 0.0, 40.0 / 3.0])
    ground = np.array([[middle[0] + dx, middle[1] + dy] for dy in steps for dx in steps])
    at_places, _ = kriging.execute("points", ground[:, 0], ground[:, 1])
    right = np.append(pattern(apart(at, ground)).mean(axis=1), 1.0)
    solution = np.linalg.solve(full, right)
    variance = solution @ right - pattern(apart(ground, ground)).mean()
    blocks.append(
        {
            "ground": ground.tolist(),
            "pykrige": float(np.mean(at_places)),
            "numpy": float(solution[:n] @ value),
            "variance": float(variance),
        }
    )
print(json.dumps({"points": np.column_stack([x, y, value]).tolist(), "blocks": blocks}))
