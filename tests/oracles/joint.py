"""Other people's mathematics for the joint adjustment: numpy (generalised least squares, that is universal kriging with
an indicator per load), scipy (the Matérn function) and statsmodels (a mixed model). Reads a case from standard input as
JSON, prints the answer as JSON."""

import json
import sys

import numpy as np


def lattice(places, h, margin):
    nodes = set()
    for x, y in places:
        i, j = int(np.floor(x / h)), int(np.floor(y / h))
        for a in range(-margin, margin + 2):
            for b in range(-margin, margin + 2):
                nodes.add((i + a, j + b))
    nodes = sorted(nodes)
    index = {n: k for k, n in enumerate(nodes)}
    laplacian = np.zeros((len(nodes), len(nodes)))
    for (i, j), k in index.items():
        for other in ((i - 1, j), (i + 1, j), (i, j - 1), (i, j + 1)):
            if other in index:
                laplacian[k, k] += 1 / h**2
                laplacian[k, index[other]] -= 1 / h**2
    return index, laplacian


def gls(case):
    """Estimates of load levels from patches by dense generalised least squares."""
    h, margin, t = case["spacing"], case["margin"], case["texture"]
    patches = case["patches"]
    places = [p["at"] for p in patches]
    index, laplacian = lattice(places, h, margin)
    k2 = 8 / t["range"] ** 2
    k = k2 * np.eye(len(index)) + laplacian
    q = h**2 / (4 * np.pi * k2 * t["field_sd"] ** 2) * k.T @ k
    a = np.zeros((len(patches), len(index)))
    for r, (x, y) in enumerate(places):
        i, j = int(np.floor(x / h)), int(np.floor(y / h))
        s, u = x / h - i, y / h - j
        a[r, index[i, j]] = (1 - s) * (1 - u)
        a[r, index[i + 1, j]] = s * (1 - u)
        a[r, index[i, j + 1]] = (1 - s) * u
        a[r, index[i + 1, j + 1]] = s * u

    def same(key):
        v = [p[key] for p in patches]
        return np.array([[float(m is not None and m == n) for n in v] for m in v])

    noise = t["patch_sd"] ** 2
    v = a @ np.linalg.inv(q) @ a.T + t["pass_sd"] ** 2 * same("pass")
    edge = case["edge_ratio"] * same("level") + case["part_ratio"] * same("level") * same("load")
    v += noise * (edge + np.eye(len(patches)))
    loads = sorted({p["load"] for p in patches})
    x = np.array([[float(p["load"] == l) for l in loads] for p in patches])
    z = np.array([p["ln_yield"] for p in patches])
    vx, vz = np.linalg.solve(v, x), np.linalg.solve(v, z)
    covariance = np.linalg.inv(x.T @ vx)
    beta = covariance @ (x.T @ vz)
    # Log factors against the first load's: u = level − beta.
    contrast = np.eye(len(loads))[1:] - np.eye(len(loads))[:1]
    return {
        "estimate": list(-contrast @ beta),
        "se": list(np.sqrt(np.diag(contrast @ covariance @ contrast.T))),
    }


def matern(case):
    """Covariance that a precision implies in the middle of a rectangle of nodes, and the Matérn function (nu = 1)."""
    from scipy.special import kv

    n = case["nodes"]
    q = np.zeros((n, n))
    for i, j, value in case["precision"]:
        q[i, j] = q[j, i] = value
    covariance = np.linalg.inv(q)
    rows, columns = case["shape"]
    middle = (rows // 2) * columns + columns // 2
    kappa = np.sqrt(8) / case["range"]
    out = []
    for step in range(0, columns // 4):
        d = kappa * step * case["spacing"]
        truth = case["variance"] * (1.0 if step == 0 else d * kv(1, d))
        out.append([covariance[middle, middle + step], truth])
    return {"pairs": out}


def mixed(case):
    """Days as random effects, fitted by restricted maximum likelihood."""
    import pandas as pd
    import statsmodels.formula.api as smf

    table = pd.DataFrame({"y": case["y"], "day": case["day"]})
    fit = smf.mixedlm("y ~ 1", table, groups=table["day"]).fit(reml=True)
    mean = fit.fe_params.iloc[0]
    return {
        "residual": fit.scale,
        "between": float(fit.cov_re.iloc[0, 0]),
        "mean": mean,
        "se": float(fit.bse_fe.iloc[0]),
        "days": [mean + float(fit.random_effects[d].iloc[0]) for d in sorted(set(case["day"]))],
    }


case = json.load(sys.stdin)
print(json.dumps({"gls": gls, "matern": matern, "mixed": mixed}[case["what"]](case)))
