"""How likely a search finds a carcass that lies there, by protocol and size; later looks too."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import special

from roadrisk.base.seeds import generator

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Kind = tuple[str, str]
"""Protocol and size class ("" for any size)."""

BORROWED: dict[str, tuple[float, str]] = {
    "walk": (0.75, "0.74 (volunteers on foot, Taiwan, lawdata 490390) and 0.76 (two people on "
             "foot, rattlesnakes, Winton et al. 2018)"),
    "bicycle": (0.42, "0.42 (volunteers, Taiwan, lawdata 490390)"),
    "scooter": (0.32, "0.32 (volunteers, Taiwan, lawdata 490390)"),
    "car": (0.11, "0.12 (volunteers, Taiwan, lawdata 490390) and below 0.10 (Santos R.A.L. et al. "
            "2016)"),
}  # fmt: skip
"""Published chances of detection by protocol, and where they are from."""

# Standard deviation of a borrowed chance on the logit scale: 90 % of the prior for a car lie
# between 0.03 and 0.30, on foot between 0.47 and 0.91. Wide, since no source is of these animals,
# roads and people; project choice.
_BORROWED_SD = 0.75
_P_PLACES, _K_PLACES = 400, 101
# Prior of the chance on a first search: Beta(1, 1/2). What matters is 1 / chance. Jeffreys' prior
# leaves few trials too low in detection and the deaths too high; this one holds the truth a little
# more often (tests/outside/test_detection_prior.py) and adds less where sizes are summed.
_FOUND, _MISSED = 1.0, 0.5


@dataclass(frozen=True, eq=False)
class Detection:
    """Chances that a search finds a carcass that lies there.

    Attributes
    ----------
    first : dict of Kind to ndarray, shape (draws,)
        Chance on the first search after a death. A kind that nothing is known of is missing.
    later : ndarray, shape (draws,)
        Factor by which the chance falls with every further search that missed it, 0 to 1.
    table : pandas.DataFrame
        A row a kind: protocol, size, source ("trials", "trials of all sizes", "borrowed",
        "not known"), carcasses, found, detection (mean), detection_low, detection_high (90 %).
    point : dict of Kind to float
        Estimate for a best single number: (found + 1) / (carcasses + 1) on the first search, whose
        reciprocal is nearly unbiased; the mean of the draws where borrowed.
    notes : tuple of str
    """

    first: dict[Kind, Floats]
    later: Floats
    table: pd.DataFrame
    point: dict[Kind, float]
    notes: tuple[str, ...]


def detection(
    trials: pd.DataFrame | None, kinds: Sequence[Kind], *, seed: int, draws: int = 400
) -> Detection:
    """Estimate chances of detection.

    Parameters
    ----------
    trials : pandas.DataFrame or None
        Columns of `records.survey_schemas.TRIALS`; rows of other kinds of trial are passed over.
    kinds : sequence of Kind
        What is wanted.
    seed : int
    draws : int

    Returns
    -------
    Detection

    Notes
    -----
    Binomial with the prior Beta(1, 1/2): the posterior is Beta(found + 1, missed + 1/2). On the
    m-th search of a carcass the chance is p·k^(m − 1); k is uniform between 0 and 1 before the
    trials of later looks are seen, one k for all kinds, and both are drawn from their joint
    posterior on a grid.
    """
    rng = generator(seed, "mortality.detection")
    rows = None if trials is None else trials[trials["trial"] == "detection"]
    groups = {kind: _trials_of(rows, kind) for kind in kinds}
    theta = (np.arange(_P_PLACES) + 0.5) / _P_PLACES * np.pi / 2
    p, k = np.sin(theta) ** 2, np.linspace(0.0, 1.0, _K_PLACES)
    used = {key: group for group, key, _ in groups.values() if group is not None}
    # Groups without size hold the same trials as their parts: k is learned from all trials once.
    log_k = np.zeros(_K_PLACES)
    repeats = 0
    if rows is not None and len(rows):
        for _, some in rows.groupby(["samplingProtocol", "size"]):
            log_k += special.logsumexp(_log_posterior(some, p, k), axis=0)
        repeats = int(rows.loc[rows["look"] > 1, "carcasses"].sum())
    chance = np.exp(log_k - log_k.max())
    at_k = rng.choice(_K_PLACES, size=draws, p=chance / chance.sum())
    later = k[at_k] if repeats else rng.uniform(0.0, 1.0, draws)
    drawn = {key: _draw(group, p, k, at_k, rng) for key, group in used.items()}
    first: dict[Kind, Floats] = {}
    point: dict[Kind, float] = {}
    table = []
    for kind in kinds:
        group, key, source = groups[kind]
        found = carcasses = 0
        if group is not None:
            first[kind] = drawn[key]
            looked = group[group["look"] == 1]
            carcasses, found = int(looked["carcasses"].sum()), int(looked["found"].sum())
            point[kind] = (found + 1) / (carcasses + 1)
        elif kind[0] in BORROWED:
            source = "borrowed"
            middle = special.logit(BORROWED[kind[0]][0])
            # One draw for all sizes of a protocol: what is borrowed is one number.
            spread = generator(seed, f"mortality.borrowed {kind[0]}").standard_normal(draws)
            first[kind] = np.asarray(special.expit(middle + _BORROWED_SD * spread))
            point[kind] = float(1 / np.mean(1 / first[kind]))
        table.append(_row(kind, source, carcasses, found, first.get(kind)))
    listed = pd.DataFrame(table)
    return Detection(first, later, listed, point, _notes(listed, repeats, later))


def _trials_of(rows: pd.DataFrame | None, kind: Kind) -> tuple[pd.DataFrame | None, Kind, str]:
    """Trials that speak for a kind, which they are, and the source: its own, or all sizes."""
    if rows is None:
        return None, kind, "not known"
    mine = rows[rows["samplingProtocol"] == kind[0]]
    sized = mine[mine["size"] == kind[1]] if kind[1] else mine
    for group, size, source in ((sized, kind[1], "trials"), (mine, "", "trials of all sizes")):
        if (group["look"] == 1).any():
            return group, (kind[0], size), source
    return None, kind, "not known"


def _log_posterior(group: pd.DataFrame, p: Floats, k: Floats) -> Floats:
    """Of one group's trials, on places of p that are even in arcsin(sqrt(p)); shape (p, k)."""
    # Even places are Jeffreys' prior already.
    prior = (_FOUND - 0.5) * np.log(p) + (_MISSED - 0.5) * np.log1p(-p)
    out = np.repeat(prior[:, None], len(k), axis=1)
    for look in np.unique(group["look"].to_numpy(np.int64)).tolist():
        some = group[group["look"] == look]
        found = float(some["found"].sum())
        missed = float(some["carcasses"].sum()) - found
        chance = p[:, None] * k ** (look - 1)
        out += special.xlogy(found, chance) + special.xlog1py(missed, -chance)
    return out


def _draw(
    group: pd.DataFrame, p: Floats, k: Floats, at_k: np.ndarray, rng: np.random.Generator
) -> Floats:
    """Draw p given k: exactly from its Beta where no later look tells of it, else on the grid."""
    first = group[group["look"] == 1]
    found = float(first["found"].sum())
    missed = float(first["carcasses"].sum()) - found
    if (group["look"] == 1).all():
        return rng.beta(found + _FOUND, missed + _MISSED, size=len(at_k))
    log_p = _log_posterior(group, p, k)
    step = np.pi / 2 / len(p)
    out = np.empty(len(at_k))
    for column in np.unique(at_k):
        mine = at_k == column
        chance = np.exp(log_p[:, column] - log_p[:, column].max())
        cell = rng.choice(len(p), size=int(mine.sum()), p=chance / chance.sum())
        theta = (cell + rng.uniform(0.0, 1.0, len(cell))) * step
        out[mine] = np.sin(theta) ** 2
    return out


def _row(
    kind: Kind, source: str, carcasses: int, found: int, draws: Floats | None
) -> dict[str, object]:
    low, high = (np.nan, np.nan) if draws is None else np.quantile(draws, [0.05, 0.95])
    return {
        "protocol": kind[0],
        "size": kind[1],
        "source": source,
        "carcasses": carcasses,
        "found": found,
        "detection": np.nan if draws is None else float(draws.mean()),
        "detection_low": float(low),
        "detection_high": float(high),
    }


def _notes(table: pd.DataFrame, repeats: int, later: Floats) -> tuple[str, ...]:
    out = []
    for protocol, some in table.groupby("protocol"):
        sources = set(some["source"])
        for row in some[some["source"] == "trials"].to_dict("records"):
            what = f"{row['size']} carcasses" if row["size"] else "carcasses"
            out.append(
                f"By {protocol}, {row['found']} of {row['carcasses']} {what} laid out were found "
                f"on the first search: a chance of {row['detection']:.2f} "
                f"({row['detection_low']:.2f} to {row['detection_high']:.2f})."
            )
        if "borrowed" in sources:
            value, where = BORROWED[str(protocol)]
            out.append(
                f"Borrowed, not from trials of this study: the chance to find a carcass that lies "
                f"there, by {protocol}, about {value:g} with a wide range; published: {where}."
            )
        if "not known" in sources:
            out.append(
                f"Nothing is known of the chance to find a carcass by {protocol}: no trials, and "
                "no published value to borrow. Deaths can't be told from these surveys."
            )
        if "trials of all sizes" in sources:
            out.append(
                f"By {protocol} there were no trials of some sizes: trials of all sizes stand in, "
                "which gives too few deaths if those sizes are harder to find."
            )
    if repeats:
        low, high = np.quantile(later, [0.05, 0.95])
        out.append(
            f"{repeats} carcasses missed before were searched for again: with every further look "
            f"the chance falls by a factor between {low:.2f} and {high:.2f}."
        )
    elif len(table):
        out.append(
            "No trial searched again for carcasses that were missed: by how much the chance falls "
            "on later looks is not known, and anything from not at all to never found later is "
            "taken as equally likely."
        )
    return tuple(out)
