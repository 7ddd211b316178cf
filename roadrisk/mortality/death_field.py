"""Deaths along the roads as one field of draws, for whoever asks of places on them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import sparse

from roadrisk.mortality.death_ranks import ranks
from roadrisk.mortality.death_table import add_draws
from roadrisk.mortality.draw_sums import blocks, many

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.mortality.joint_model import JointDeaths
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.roads.pieces import Pieces

NOT_KNOWN = "how many die isn't known: no source has a known chance of counting a death"
A_BOUND = "nothing was found by the sources that say how many: the upper end is a bound"


@dataclass(frozen=True, eq=False)
class DeathField:
    """Draws of deaths on every piece of road.

    Attributes
    ----------
    pieces : Pieces
    lixel_km : ndarray, shape (lixels,)
        Of the leading carriageway; 0 on the following one.
    result : JointDeaths
    ordered : bool
        Whether any source counted anything, so that places have an order.
    heard : ndarray of bool, shape (pieces,)
        Whether a source that counted anything anywhere watched the piece: elsewhere all is taken
        from other roads, and no place is known to be worse than another.
    """

    pieces: Pieces
    lixel_km: Floats
    result: JointDeaths
    ordered: bool
    heard: NDArray[np.bool_]

    @property
    def draws(self) -> Floats:
        """What places are ranked by, shape (pieces, draws): deaths per km and year, or relative."""
        return self.result.relative if self.result.rate is None else self.result.rate

    @property
    def expected_draws(self) -> Floats | None:
        """Deaths a year on each piece, whose sums and means are best (`JointDeaths`), or None."""
        return self.result.expected_draws

    @property
    def note(self) -> str:
        """Why a number of deaths is missing; "" where it isn't."""
        if self.result.rate is None:
            return NOT_KNOWN
        return A_BOUND if self.result.bound_only else ""

    def on_lixels(self, per_piece: Floats) -> Floats:
        """Return values of pieces on their lixels, shape (lixels,)."""
        return np.asarray(per_piece[self.pieces.of_lixel])

    def amount_on_lixels(self) -> Floats:
        """Return expected deaths a year, or shares of them, shape (lixels,): 0 where not heard."""
        return self.on_lixels(np.where(self.heard, self.result.points, 0.0)) * self.lixel_km

    def sums(self, place: Ints, lixel: Ints, places: int) -> sparse.csr_array:
        """Return the km that every piece gives to every place.

        Parameters
        ----------
        place, lixel : ndarray of int64, shape (parts,)
            Lixels of each place; a lixel may belong to several.
        places : int

        Returns
        -------
        scipy.sparse.csr_array, shape (places, pieces)
        """
        shape = (places, len(self.pieces))
        km = self.lixel_km[lixel]
        cells = (place, self.pieces.of_lixel[lixel])
        return sparse.csr_array(sparse.coo_array((km, cells), shape=shape))

    def at_places(
        self, place: Ints, lixel: Ints, places: int, *, per_km: Floats | None = None
    ) -> pd.DataFrame:
        """Return deaths at places, each a set of lixels.

        Parameters
        ----------
        place, lixel : ndarray of int64, shape (parts,)
        places : int
        per_km : ndarray, shape (places,), optional
            Length that rates are divided by [km]; their own unless given.

        Returns
        -------
        pandas.DataFrame
            One row a place. Columns deaths_per_year, deaths_per_km_year, excess_per_km_year and
            relative_rate, each with _low and _high (90 %). NaN where not known; with a bound only
            _low (0) and _high are numbers. Of no place that holds no road.
        """
        cells = self.sums(place, lixel, places)
        if not many(self.result.relative):
            return self._at(cells, per_km)
        # Single precision holds the draws: sums are of few pieces each, a block at a time.
        cells = cells.astype(np.float32)
        some = [
            self._at(cells[part], None if per_km is None else per_km[part])
            for part in blocks(places)
        ]
        return pd.concat(some or [self._at(cells, per_km)], ignore_index=True)

    def _at(self, cells: sparse.csr_array, per_km: Floats | None) -> pd.DataFrame:
        places = cells.shape[0]
        own = np.asarray(cells.sum(axis=1), dtype=np.float64)
        km = np.where(own > 0, own if per_km is None else per_km, np.nan)[:, None]
        table = pd.DataFrame(index=range(places))
        result, nothing = self.result, np.full((places, 1), np.nan)
        rate, bound = result.rate, result.bound_only
        year = nothing if rate is None else np.where(own[:, None] > 0, cells @ rate, np.nan)
        above = nothing
        if rate is not None and not bound:
            like = self._similar(cells) if many(rate) else None
            above = (cells @ (rate - result.similar) if like is None else year - like) / km
        relative = (cells @ result.relative) / own[:, None].clip(1e-12) if self.ordered else nothing
        add_draws(table, "deaths_per_year", year, times=result.to_best, bound_only=bound)
        add_draws(table, "deaths_per_km_year", year / km, times=result.to_best, bound_only=bound)
        add_draws(table, "excess_per_km_year", above, times=result.to_best)
        add_draws(table, "relative_rate", relative)
        if rate is None:
            table[[f"deaths_per{unit}_year_low" for unit in ("", "_km")]] = np.nan
        return table

    def _similar(self, cells: sparse.csr_array) -> Floats:
        similar = self.result.similar
        if similar.strides[0] == 0:  # the same everywhere
            return np.asarray(cells.sum(axis=1))[:, None] * similar[:1]
        return np.asarray(cells @ similar)

    def ranks_of(
        self, place: Ints, lixel: Ints, places: int, *, per_km: Floats, k: int
    ) -> pd.DataFrame:
        """Return how sure the order of places is.

        Parameters
        ----------
        place, lixel : ndarray of int64, shape (parts,)
        places : int
        per_km : ndarray, shape (places,)
            Length that rates are divided by [km].
        k : int
            Of the chance of being among the worst k.

        Returns
        -------
        pandas.DataFrame
            Columns rank_low, rank_high (90 %), chance_among_worst.
        """
        cells, draws = self.sums(place, lixel, places), self.draws
        rate = (cells.astype(draws.dtype) @ draws) / per_km[:, None].astype(draws.dtype)
        found = ranks(rate, k)
        return pd.DataFrame({
            "rank_low": found.low, "rank_high": found.high,
            "chance_among_worst": found.among_worst,
        })  # fmt: skip
