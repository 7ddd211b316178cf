"""A TOML file as it was parsed, or the one line that says why it can't be."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any

from roadrisk.errors import Remark
from roadrisk.records.limits import in_words

if TYPE_CHECKING:
    from pathlib import Path

# A key of so many parts is none that is known, and parsing takes time and memory by their square.
_PARTS = 30
_PART = r"""(?:[\w\-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+"""
_DEEP_KEY = re.compile(rf"""(?<![\w\-"'])(?:{_PART}){{{_PARTS}}}""")


def parsed_toml(
    path: Path, name: str, *, most_bytes: int, anew: str, hint: str
) -> tuple[dict[str, Any], str] | Remark:
    """Parse a TOML file.

    Parameters
    ----------
    path : pathlib.Path
        An existing file.
    name : str
        The file's name as the user knows it.
    most_bytes : int
    anew : str
        What to do if it can't be read at all.
    hint : str
        What to look for where its TOML is broken.

    Returns
    -------
    (data, text) or Remark
        A remark is an error, with the row where one is known.
    """
    problem = None
    try:
        with path.open("rb") as file:
            content = file.read(most_bytes + 1)
        text = content.decode("utf-8-sig")
        problem = _too_much(content, text, name, most_bytes)
        if problem is None:
            return tomllib.loads(text), text
    except tomllib.TOMLDecodeError as error:
        problem = _syntax(error, name, hint)
    except UnicodeDecodeError as error:
        row = error.object[: error.start].count(b"\n") + 1
        problem = Remark(name, row, "", "it is not UTF-8.", "save it as UTF-8 text")
    except RecursionError:
        problem = Remark(name, None, "", "its brackets are nested too deep.", anew)
    except (OSError, ValueError) as error:
        problem = Remark(name, None, "", f"it can't be read ({error}).", anew)
    return problem


def _too_much(content: bytes, text: str, name: str, most_bytes: int) -> Remark | None:
    if len(content) > most_bytes:
        problem = f"it has more than {in_words(most_bytes)}."
        return Remark(name, None, "", problem, "keep tables in files of their own")
    deep = _DEEP_KEY.search(text)
    if deep is None:
        return None
    row = text.count("\n", 0, deep.start()) + 1
    return Remark(name, row, "", f"a key has more than {_PARTS} parts.", "shorten it")


def _syntax(error: tomllib.TOMLDecodeError, name: str, hint: str) -> Remark:
    said = str(error)
    place = re.search(r"\(at line (\d+), column \d+\)", said)
    problem = f"the TOML is broken: {said.split(' (at ', maxsplit=1)[0]}."
    return Remark(name, int(place[1]) if place else None, "", problem, f"look at this line: {hint}")
