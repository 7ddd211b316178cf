"""Heads of a spreadsheet's columns, in words and with their unit."""

from __future__ import annotations

from importlib import resources

from roadrisk.reporting.column_words import metric_name


def sheet_heads(file: str, columns: list[str], *, money: str) -> dict[str, str]:
    """Return the head of each column of one table.

    Parameters
    ----------
    file : str
        Name of the CSV table that the columns are those of.
    columns : list of str
    money : str
        The currency; "" while prices aren't confirmed.

    Returns
    -------
    dict of str to str
        Of a table in US customary units in those.

    Raises
    ------
    KeyError
        A column has no head in ``templates/sheet_heads.txt``.
    """
    said = _heads()
    us = any(metric_name(name) != name for name in columns)
    values = {
        "{m}": "ft" if us else "m", "{km}": "mile" if us else "km",
        "{kmh}": "mph" if us else "km/h", "{money}": money or "no price",
    }  # fmt: skip
    out = {}
    for name in columns:
        key = metric_name(name)
        head = said.get((file, key)) or said["*", key]
        for sign, value in values.items():
            head = head.replace(sign, value)
        out[name] = head
    return out


def _heads() -> dict[tuple[str, str], str]:
    folder = resources.files("roadrisk.reporting") / "templates"
    text = (folder / "sheet_heads.txt").read_text("utf-8")
    out = {}
    for line in text.splitlines():
        if line and not line.startswith("#"):
            file, column, head = (part.strip() for part in line.split("|"))
            out[file, column] = head
    return out
