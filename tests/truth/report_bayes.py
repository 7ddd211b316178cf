"""The linker that knows how the world of reports was made: Bayes' rule with the true process.

The likelihood of some reports as one animal is integrated over its place, the time it died or
came, how long it lay or stayed, how conspicuous it was and what it looked like; of all
divisions of a few reports into animals the chances follow (`_chances`, held against plain
enumeration in tests/sightings/test_linking_partitions.py). Known are hot stretches, days, traffic,
homes and habits of people, survey days, all error rates; only what a careful reader of the
reports can't know (which animal, its life, its look) is not.
"""

from __future__ import annotations

from typing import NamedTuple

import numba as nb
import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.sightings.linking_partitions import _chances, _parcels
from tests.truth import report_worlds as rw
from tests.truth.report_worlds import Reported

MOST, LEAST_LOG_ODDS = 11, np.log(0.003)
BURN_IN, SWEEPS = 100, 600
LONGEST_DAYS, LONGEST_STAY = 45.0, 0.2
_FINE = np.concatenate([np.arange(0, 2.01, 1 / 16), np.arange(2.25, 46, 0.5)])
_STAY_EDGES = np.concatenate([[0.0], np.geomspace(0.0005, LONGEST_STAY, 30)])
_END_EDGES = np.concatenate([[0.0], np.geomspace(0.01, 60.0, 22), [1e6]])
_HOURS = np.array([7.5, 10.5, 13.5, 16.5, 19.5])  # of equal mass of people passing by day


class Known(NamedTuple):
    """Reports and the world as arrays."""

    s: np.ndarray
    sds: np.ndarray  # (n, 3), with the chances of each
    sd_shares: np.ndarray
    day: np.ndarray
    day_only: np.ndarray
    state: np.ndarray  # 0 alive, 1 dead, 2 not said
    who: np.ndarray
    action: np.ndarray  # 0 none, 1 marked, 2 removed, 3 already marked
    sex: np.ndarray  # 1 female, 0 male, -1
    stage: np.ndarray  # 1 adult, 0 juvenile, -1
    size: np.ndarray
    says: np.ndarray
    hot: np.ndarray  # (2, cells) events a metre, alive and dead
    by_day: np.ndarray
    person: np.ndarray  # (n, people) rates at each report's place
    crowd: np.ndarray
    surveys: np.ndarray
    removes: bool


def know(reported: Reported) -> Known:
    """Read all that the linker knows."""
    t, w = reported.table, reported.world
    radius = t["coordinateUncertaintyInMeters"].to_numpy() / rw.PER_RADIUS
    default = t["default"].to_numpy(bool)[:, None]
    stated = np.column_stack([radius, radius * rw.TOO_SMALL_BY, radius])
    shares = np.array([1 - rw.TOO_SMALL, rw.TOO_SMALL, 0.0])
    s = t["s"].to_numpy(float)
    code = {"": -1, "female": 1, "male": 0, "adult": 1, "juvenile": 0}
    return Known(
        s=s,
        sds=np.where(default, np.array(rw.UNSTATED_SD), stated),
        sd_shares=np.where(default, np.array(rw.UNSTATED), shares),
        day=np.where(t["time_known"], t["day"], np.floor(t["day"])),
        day_only=~t["time_known"].to_numpy(bool),
        state=t["vitality"].map({"alive": 0, "dead": 1, "uncertain": 2}).to_numpy(np.int64),
        who=t["who"].to_numpy(np.int64),
        action=t["carcass_action"]
        .map({"": 0, "marked": 1, "removed": 2, "already marked": 3})
        .to_numpy(np.int64),
        sex=t["sex"].map(code).to_numpy(np.int64),
        stage=t["lifeStage"].map(code).to_numpy(np.int64),
        size=np.log(t["length_mm"].to_numpy(float)),
        says=np.array(t["features"].tolist(), np.int64),
        hot=np.vstack([w.live, w.dead]),
        by_day=w.by_day,
        person=np.array([w.person_rates(x) for x in s]),
        crowd=np.array([w.crowd_rate(x) for x in s]),
        surveys=w.surveys,
        removes=w.removes,
    )


@nb.njit(cache=True)
def _passing(hour):
    return 1.5 if 6.0 <= hour < 21.0 else 0.1667


@nb.njit(cache=True)
def _passed(t):
    """Integral of `_passing` over days."""
    day = np.floor(t)
    hour = (t - day) * 24.0
    part = 0.1667 * min(hour, 6.0) + 1.5 * min(max(hour - 6.0, 0.0), 15.0)
    part += 0.1667 * max(hour - 21.0, 0.0)
    return day * (0.1667 * 9 + 1.5 * 15) / 24.0 + part / 24.0


@nb.njit(cache=True)
def _died(hour):
    return 1.8 if hour >= 19.0 or hour < 5.0 else 3.0 / 7.0


@nb.njit(cache=True)
def _place(k, members, kind):
    """Integral over the true place of events a metre times the densities of all places."""
    n = len(members)
    centre, weight = 0.0, 0.0
    for i in members:
        v = 0.0
        for c in range(3):
            v += k.sd_shares[i, c] / k.sds[i, c] ** 2
        centre += v * k.s[i]
        weight += v
    grid = np.empty(n * 3 * 33)
    for a in range(n):
        for c in range(3):
            for g in range(33):
                grid[(a * 3 + c) * 33 + g] = k.s[members[a]] + k.sds[members[a], c] * (g - 16) / 4.0
    grid.sort()
    total, before, last = 0.0, 0.0, 0.0
    for q in range(len(grid)):
        x = grid[q]
        cell = min(max(int(x / 10.0), 0), k.hot.shape[1] - 1)
        value = k.hot[kind, cell] if 0.0 <= x < 40_000.0 else 0.0
        for i in members:
            density = 0.0
            for c in range(3):
                if k.sd_shares[i, c] > 0.0:
                    z = (x - k.s[i]) / k.sds[i, c]
                    density += k.sd_shares[i, c] / k.sds[i, c] * np.exp(-0.5 * z * z) * 0.3989423
            value *= density
        if q:
            total += 0.5 * (value + before) * (x - last)
        before, last = value, x
    return total, centre / weight


@nb.njit(cache=True)
def _look(k, members):
    """Likelihood of sex, stage, size and remarks, over what the animal may look like."""
    female, male = FEMALE, 1.0 - FEMALE
    for i in members:
        if k.sex[i] >= 0:
            female *= 1.0 - SEX_WRONG if k.sex[i] == 1 else SEX_WRONG
            male *= 1.0 - SEX_WRONG if k.sex[i] == 0 else SEX_WRONG
    total = 0.0
    for adult in range(2):
        part = ADULT if adult == 1 else 1.0 - ADULT
        mean, var = SIZE_MEAN[adult], SIZE_SD[adult] ** 2
        for i in members:
            if k.stage[i] >= 0:
                part *= 1.0 - STAGE_WRONG if k.stage[i] == adult else STAGE_WRONG
            if not np.isnan(k.size[i]):
                v = var + SIZE_ERROR**2
                part *= np.exp(-0.5 * (k.size[i] - mean) ** 2 / v) / np.sqrt(2 * np.pi * v)
                mean, var = mean + var / v * (k.size[i] - mean), var * SIZE_ERROR**2 / v
        total += part
    total *= female + male
    for f in range(k.says.shape[1]):
        has, not_has = HAS, 1.0 - HAS
        for i in members:
            if k.says[i, f] >= 0:
                has *= SAYS if k.says[i, f] == 1 else 1.0 - SAYS
                not_has *= SAYS_WRONG if k.says[i, f] == 1 else 1.0 - SAYS_WRONG
        total *= has + not_has
    return total


FEMALE, SEX_WRONG, ADULT, STAGE_WRONG = rw.FEMALE, rw.SEX_WRONG, rw.ADULT, rw.STAGE_WRONG
SIZE_ERROR, HAS, SAYS, SAYS_WRONG = rw.SIZE_ERROR, rw.HAS, rw.SAYS, rw.SAYS_WRONG
SIZE_MEAN = np.array([m for m, _ in rw.SIZES])
SIZE_SD = np.array([s for _, s in rw.SIZES])
SHAPE, SCALE, STAY, SEEN = rw.LASTING_SHAPE, rw.LASTING_DAYS, rw.STAY_DAYS, rw.SEEN_SHAPE
LIVE, AGAIN, AGAIN_GATE, SECOND, SECOND_DAYS = (
    rw.LIVE_FACTOR, rw.AGAIN, rw.AGAIN_GATE, rw.SECOND, rw.SECOND_DAYS
)  # fmt: skip
FOUND, SAYS_MARKED, SURVEY_FROM, SURVEY_TO = rw.FOUND, rw.SAYS_MARKED, *rw.SURVEY_M
DAYS, PEOPLE = rw.DAYS, rw.PEOPLE


@nb.njit(cache=True)
def _there_after(t, kind):
    """Chance that an animal is still there after t days."""
    return np.exp(-t / STAY) if kind == 0 else np.exp(-((t / SCALE) ** SHAPE))


@nb.njit(cache=True)
def _survey_factor(k, members, times, kind, centre, begin, end):
    """Chance of what the surveys between two times found and did not find."""
    if kind == 0 or not SURVEY_FROM <= centre < SURVEY_TO:
        for i in members:
            # A report of the patrol from just beyond the end of its section is not impossible.
            if k.who[i] == -2 and kind == 0:
                return 0.0
        return 1.0
    out, marked = 1.0, False
    for q in range(len(k.surveys)):
        t = k.surveys[q]
        if t <= begin or t >= end + 1e-9:
            continue
        action = 0
        for a in range(len(members)):
            if k.who[members[a]] == -2 and abs(times[a] - t) < 1e-6:
                if action:
                    return 0.0
                action = k.action[members[a]]
        if action == 3:
            out *= FOUND * SAYS_MARKED if marked else 0.0
        elif action:
            out *= 0.0 if marked else FOUND
            marked = marked or action == 1
        else:
            out *= 1.0 - FOUND * SAYS_MARKED if marked else 1.0 - FOUND
    return out


@nb.njit(cache=True)
def _story(k, members, times, only, kind, centre, at, begins, ends):
    """Integral over begin, end and conspicuousness, of reports at these times (in order)."""
    n = len(members)
    factor = LIVE if kind == 0 else 1.0
    person = k.person[at] * factor
    rate = person.sum() + k.crowd[at] * factor
    # Each report is one of an average animal's rate times how conspicuous it is (a), or a second
    # report (b): coefficients of the polynomial in the conspicuousness.
    poly = np.zeros(n + 1)
    poly[0] = 1.0
    removed = np.inf
    for q in range(n):
        i = members[q]
        if k.who[i] == -2:
            if k.action[i] == 2:
                removed = times[q]
            continue
        passing = 1.0 / len(_HOURS) if only[q] else _passing((times[q] % 1.0) * 24.0)
        a, b = k.crowd[at] * factor * passing, 0.0
        if k.who[i] >= 0:
            a = person[k.who[i]] * passing
            before = False
            for o in range(q):
                if k.who[members[o]] == k.who[i]:
                    before = True
                    gap = max(times[q] - times[o], 1e-3)
                    width = 15.0 / 24.0 / len(_HOURS) if only[q] else 1.0
                    b += SECOND / SECOND_DAYS * np.exp(-gap / SECOND_DAYS) * width
            if before:
                a *= AGAIN_GATE if k.who[i] == PEOPLE else AGAIN
        for d in range(n, 0, -1):
            poly[d] = poly[d] * b + poly[d - 1] * a
        poly[0] *= b
    last, first = times[n - 1], times[0]
    if removed < last - 1e-9:
        return 0.0
    total = 0.0
    for g in range(len(begins) - 1):
        begin = first - 0.5 * (begins[g] + begins[g + 1])
        day = int(np.floor(begin))
        if day < 0 or day >= DAYS:
            continue
        hour = (begin - day) * 24.0
        share = _passing(hour) if kind == 0 else (_died(hour) if begins[g] < 2.0 else 1.0)
        weight = k.by_day[day] * share * (begins[g + 1] - begins[g])
        if weight <= 0.0:
            continue
        surveyed = np.inf if kind == 0 or not SURVEY_FROM <= centre < SURVEY_TO else last
        base = _survey_factor(k, members, times, kind, centre, begin, last)
        if base <= 0.0:
            continue
        inner = 0.0
        cells = 1 if removed < np.inf else len(ends) - 1
        for e in range(cells):
            if removed < np.inf:
                end, chance = removed, _there_after(removed - begin, kind)
            else:
                chance = _there_after(last - begin + ends[e], kind) - _there_after(
                    last - begin + ends[e + 1], kind
                )
                end = last + (0.5 * (ends[e] + ends[e + 1]) if e + 2 < len(ends) else ends[e] * 1.3)
            if chance <= 1e-12:
                continue
            if surveyed < np.inf and removed == np.inf:
                whole = _survey_factor(k, members, times, kind, centre, begin, end)
                chance *= whole / base
            passed = rate * (_passed(end) - _passed(begin))
            seconds = 0.0
            for q in range(n):
                w = k.who[members[q]]
                if w < 0:
                    continue
                seconds += SECOND * (1.0 - np.exp(-(end - times[q]) / SECOND_DAYS))
                fresh = True
                for o in range(q):
                    fresh = fresh and k.who[members[o]] != w
                if fresh:
                    drop = 1.0 - (AGAIN_GATE if w == PEOPLE else AGAIN)
                    passed -= person[w] * drop * (_passed(end) - _passed(times[q]))
            moment = (1.0 + passed / SEEN) ** (-SEEN)
            mean = 0.0
            for d in range(n + 1):
                mean += poly[d] * moment
                moment *= (SEEN + d) / (SEEN + passed)
            inner += chance * mean * np.exp(-seconds)
        total += weight * base * inner
    return total


@nb.njit(cache=True)
def _log_weight(k, members, edges_live, edges_dead, ends_live, ends_dead, hours):
    """Log density of some reports as one animal."""
    n = len(members)
    unknown = 0
    for i in members:
        unknown += k.day_only[i]
    step = 1 if unknown <= 2 else 2
    options = (len(hours) + step - 1) // step
    if unknown > 4:
        options = 1
    look = _look(k, members)
    total = 0.0
    for kind in range(2):
        possible = True
        for i in members:
            possible = possible and k.state[i] in (2, kind)
        if not possible:
            continue
        place, centre = _place(k, members, kind)
        at = members[0]
        for i in members:
            if abs(k.s[i] - centre) < abs(k.s[at] - centre):
                at = i
        mean = 0.0
        for option in range(options**unknown):
            times, only, rest = np.empty(n), np.zeros(n, np.bool_), option
            for q in range(n):
                times[q] = k.day[members[q]]
                if k.day_only[members[q]]:
                    hour = hours[2] if options == 1 else hours[(rest % options) * step]
                    rest //= options
                    times[q] += hour / 24.0
                    only[q] = True
            order = np.argsort(times)
            mean += _story(
                k, members[order], times[order], only[order], kind, centre, at,
                edges_live if kind == 0 else edges_dead, ends_live if kind == 0 else ends_dead,
            )  # fmt: skip
        mean *= (len(hours) / options) ** unknown
        total += place * mean * look
    return np.log(total + 1e-300)


@nb.njit(cache=True)
def _near(k, i, j):
    """Whether two reports may be of one animal at all."""
    if k.state[i] != k.state[j] and k.state[i] != 2 and k.state[j] != 2:
        return False
    longest = 1.0 if k.state[i] == 0 or k.state[j] == 0 else LONGEST_DAYS
    if abs(k.day[i] - k.day[j]) > longest:
        return False
    return abs(k.s[i] - k.s[j]) < 4.0 * (k.sds[i].max() + k.sds[j].max()) + 5.0


@nb.njit(cache=True)
def _all_pairs(k, g1, g2, g3, g4, hours):
    n = len(k.s)
    one = np.empty(n)
    for i in range(n):
        one[i] = _log_weight(k, np.array([i]), g1, g2, g3, g4, hours)
    i_out, j_out, odds = [0], [0], [0.0]
    for i in range(n):
        for j in range(i + 1, n):
            if k.day[j] - k.day[i] > LONGEST_DAYS + 1:
                break
            if _near(k, i, j):
                pair = _log_weight(k, np.array([i, j]), g1, g2, g3, g4, hours)
                i_out.append(i)
                j_out.append(j)
                odds.append(pair - one[i] - one[j])
    return one, np.array(i_out[1:]), np.array(j_out[1:]), np.array(odds[1:])


@nb.njit(cache=True)
def _subsets(k, rows, one, g1, g2, g3, g4, hours):
    n = len(rows)
    log = np.full(1 << n, -np.inf)
    log[0] = 0.0
    for mask in range(1, 1 << n):
        top = 0
        while mask >> (top + 1):
            top += 1
        before = mask ^ (1 << top)
        if before == 0:
            log[mask] = 0.0
            continue
        if log[before] < -14.0:
            continue
        members = np.array([rows[q] for q in range(n) if (mask >> q) & 1])
        log[mask] = _log_weight(k, members, g1, g2, g3, g4, hours) - one[members].sum()
    return np.exp(np.minimum(log, 500.0))


def bayes_links(reported: Reported) -> tuple[np.ndarray, float]:
    """Chance of each pair to be of one animal, shape (n, n), i < j; expected number of animals.

    Up to 11 reports that may belong together all divisions are summed, above that drawn (Gibbs).
    """
    k = know(reported)
    n = len(k.s)
    grids = (_STAY_EDGES, _FINE, np.append(_STAY_EDGES, 1e3), _END_EDGES, _HOURS)
    one, i, j, odds = _all_pairs(k, *grids)
    parcel = _parcels(n, np.full(n, -1), i, j, odds, LEAST_LOG_ODDS, n)
    chance, animals = np.zeros((n, n)), 0.0
    for p in range(parcel.max() + 1):
        rows = np.flatnonzero(parcel == p)
        if len(rows) == 1:
            animals += 1
        elif len(rows) <= MOST:
            group = _chances(_subsets(k, rows, one, *grids), len(rows))
            animals += group.sum()
            inside = (np.arange(len(group))[:, None] >> np.arange(len(rows))) & 1
            chance[np.ix_(rows, rows)] = (inside * group[:, None]).T @ inside
        else:
            near = {(a, b) for a, b, o in zip(i, j, odds, strict=True) if o > LEAST_LOG_ODDS}
            together, number = _drawn(k, rows, one, grids, near)
            chance[np.ix_(rows, rows)] = together
            animals += number
    return np.triu(np.clip(chance, 0, 1), 1), animals


def _drawn(k, rows, one, grids, near):
    """Gibbs sampling of divisions: each report in turn joins a group or stands alone."""
    rng = generator(len(rows), "truth.report_bayes")
    held: dict[tuple, float] = {}

    def log_ratio(members):
        key = tuple(sorted(members))
        if key not in held:
            whole = _log_weight(k, np.array(key), *grids) if key else 0.0
            held[key] = whole - one[list(key)].sum()
        return held[key]

    friends = {r: {b if a == r else a for a, b in near if r in (a, b)} for r in rows}
    group = {r: frozenset([r]) for r in rows}
    together, number = np.zeros((len(rows), len(rows))), 0.0
    at = {r: q for q, r in enumerate(rows)}
    for sweep in range(SWEEPS + BURN_IN):
        for r in rows:
            left = group[r] - {r}
            for o in left:
                group[o] = left
            options = sorted({group[o] for o in friends[r]} - {group[r]}, key=sorted)
            options = [o for o in options if r not in o]
            logs = np.array([0.0, *(log_ratio(o | {r}) - log_ratio(o) for o in options)])
            p = np.exp(logs - logs.max())
            p /= p.sum()
            if sweep >= BURN_IN:
                for o, chance in zip(options, p[1:], strict=True):
                    for q in o:
                        together[at[r], at[q]] += chance / SWEEPS / 2
                        together[at[q], at[r]] += chance / SWEEPS / 2
            chosen = int(rng.choice(len(p), p=p))
            new = frozenset([r]) | (options[chosen - 1] if chosen else frozenset())
            for o in new:
                group[o] = new
        if sweep >= BURN_IN:
            number += len(set(group.values())) / SWEEPS
    return together, number
