"""Pay items: what an engineer's estimate lists, with units and without prices."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Literal


@dataclass(frozen=True)
class PayItem:
    """A pay item.

    Attributes
    ----------
    key, name : str
    unit : str
        "%" is a share of all the works of a site.
    time : {"once", "yearly"}
    wears : bool
        Whether it wears out.
    """

    key: str
    name: str
    unit: str
    time: Literal["once", "yearly"]
    wears: bool = False

    @property
    def percent(self) -> bool:
        """Whether its price is a share of the works [%]."""
        return self.unit == "%"

    @property
    def yearly(self) -> bool:
        """Whether it is paid each year."""
        return self.time == "yearly"

    @property
    def unit_words(self) -> str:
        """The unit as an estimate shows it."""
        return "% of the works" if self.percent else self.unit + " a year" * self.yearly


@lru_cache
def pay_items() -> dict[str, PayItem]:
    """Return all pay items by key, in the order in which an estimate lists them.

    Returns
    -------
    dict of str to PayItem
    """
    file = files(__package__) / "pay_items.toml"
    data = tomllib.loads(file.read_text(encoding="utf-8"))
    return {key: PayItem(key=key, **fields) for key, fields in data.items()}
