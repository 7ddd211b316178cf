"""What the page may ask for, read strictly: a body that is not as it should be is refused."""

from __future__ import annotations

import json
import math
from typing import Any, NoReturn

from roadrisk.errors import RoadriskError

LONGEST_NAME, LONGEST_REASON = 80, 1000


class RefusedError(RoadriskError):
    """A request that can't be done; one plain sentence for the page.

    Parameters
    ----------
    words : str
        What the person reads.
    status : int, optional
        HTTP status.
    """

    def __init__(self, words: str, status: int = 400) -> None:
        self.status = status
        super().__init__(words)


class Asked:
    """The JSON object of one request.

    Parameters
    ----------
    body : bytes
        As it came in.

    Raises
    ------
    RefusedError
        If it is no JSON object, or from the readers below if a value is not as it should be.
    """

    def __init__(self, body: bytes) -> None:
        try:
            values = json.loads(body.decode("utf-8"), parse_constant=_no_constant)
        except (ValueError, RecursionError) as error:
            raise RefusedError("The page sent something that can't be read.") from error
        if not isinstance(values, dict):
            raise RefusedError("The page sent something that can't be read.")
        self._values: dict[str, Any] = values

    def whole(self, name: str) -> int:
        """Return a whole number."""
        value = self._values.get(name)
        if not isinstance(value, int) or isinstance(value, bool) or abs(value) > 2**53:
            raise RefusedError(f"The page sent no whole number as {name}.")
        return value

    def flag(self, name: str) -> bool:
        """Return yes or no."""
        value = self._values.get(name)
        if not isinstance(value, bool):
            raise RefusedError(f"The page sent neither yes nor no as {name}.")
        return value

    def text(self, name: str, longest: int) -> str:
        """Return text without marks that don't print, its blanks joined."""
        value = self._values.get(name, "")
        if not isinstance(value, str):
            raise RefusedError(f"The page sent no text as {name}.")
        clean = " ".join("".join(c if c.isprintable() else " " for c in value).split())
        if len(clean) > longest:
            raise RefusedError(f"That is too long: at most {longest} characters can be kept.")
        return clean

    def place(self) -> tuple[float, float] | None:
        """Return (longitude, latitude) [degrees], or None where both are null."""
        values: list[Any] = [self._values.get(name) for name in ("longitude", "latitude")]
        if values == [None, None] and {"longitude", "latitude"} <= self._values.keys():
            return None
        for value, most in zip(values, (180.0, 90.0), strict=True):
            good = isinstance(value, int | float) and not isinstance(value, bool)
            if not (good and math.isfinite(value) and abs(value) <= most):
                raise RefusedError(
                    "That is no place: latitude must lie between -90 and 90 and longitude "
                    "between -180 and 180."
                )
        return float(values[0]), float(values[1])


def _no_constant(name: str) -> NoReturn:
    raise ValueError(name)
