"""Other people's mathematics for the joint adjustment: numpy (generalised least squares), PyKrige (the same as universal
kriging with an indicator per load), scipy (the Matérn function) and statsmodels (a mixed model). Reads a case from standard
input as JSON, prints the answer as JSON."""

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


def model(case):
    """Covariance of the patches, indicators of their loads, and values."""
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
    return v, x, z


def gls(case):
    """Estimates of load levels from patches by dense generalised least squares."""
    v, x, z = model(case)
    vx, vz = np.linalg.solve(v, x), np.linalg.solve(v, z)
    covariance = np.linalg.inv(x.T @ vx)
    beta = covariance @ (x.T @ vz)
    # Log factors against the first load's: u = level − beta.
    contrast = np.eye(x.shape[1])[1:] - np.eye(x.shape[1])[:1]
    return {
        "estimate": list(-contrast @ beta),
        "se": list(np.sqrt(np.diag(contrast @ covariance @ contrast.T))),
    }


def kriging(case):
    """The same by universal kriging with the loads' indicators as drift. PyKrige knows a variogram by distance alone, so
    patches stand on a line whose distances are all different (Erdős & Turán 1941: 2pk + (k² mod p), p prime), and the
    distance names the pair. Far away, where nothing is correlated, the prediction is the drift: at indicator d of a load it
    is m + d·u, and its variance a parabola in d, whose curvature is twice the variance of u."""
    from pykrige.uk import UniversalKriging

    v, x, z = model(case)
    n, p = len(z), 97
    assert n <= p
    places = np.array([2.0 * p * k + (k * k) % p for k in range(n)])
    far = 1e6
    pairs = {}
    for i in range(n):
        for j in range(i):
            pairs[round(abs(places[i] - places[j]))] = 0.5 * (v[i, i] + v[j, j]) - v[i, j]
        pairs[round(far - places[i])] = 0.5 * (v[i, i] + 1.0)
    assert len(pairs) == n * (n - 1) // 2 + n

    def variogram(_, d):
        flat = [pairs.get(round(float(one)), 0.0) for one in np.ravel(d)]
        return np.array(flat).reshape(np.shape(d))

    uk = UniversalKriging(
        places,
        np.zeros(n),
        z,
        variogram_model="custom",
        variogram_parameters=[0.0],
        variogram_function=variogram,
        drift_terms=["specified"],
        specified_drift=[x[:, load] for load in range(1, x.shape[1])],
    )
    estimate, se = [], []
    for load in range(1, x.shape[1]):
        at = np.array([-1.0, 0.0, 1.0])
        drift = [at if other == load else np.zeros(3) for other in range(1, x.shape[1])]
        value, variance = uk.execute(
            "points", np.full(3, far), np.zeros(3), specified_drift_arrays=drift
        )
        estimate.append(-float(value[2] - value[1]))
        se.append(float(np.sqrt((variance[0] - 2 * variance[1] + variance[2]) / 2)))
    return {"estimate": estimate, "se": se}


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
known = {"gls": gls, "kriging": kriging, "matern": matern, "mixed": mixed}
print(json.dumps(known[case["what"]](case)))
