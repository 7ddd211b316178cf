"""Starting and stopping the local page."""

from __future__ import annotations

import os
import socket
import webbrowser
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import uvicorn

from roadrisk.base.crs import WGS84
from roadrisk.errors import RoadriskError
from roadrisk.records.decision_store import DecisionStore
from roadrisk.records.synced_folder import synced_folder
from roadrisk.reporting.wording import CONFIDENTIAL, INVENTED_BANNER, credit
from roadrisk.review.app import Pages
from roadrisk.review.asked import LONGEST_NAME
from roadrisk.review.desk import Desk, StudyWords
from roadrisk.review.guards import ENTRY, HOST, Keys
from roadrisk.review.hot import HotStretches
from roadrisk.review.pictures import Pictures
from roadrisk.roads.route_measures import coordinates_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from roadrisk.review.guards import Guard
    from roadrisk.sightings.reviewed import Reviewed
    from roadrisk.study import Study


@dataclass(frozen=True, eq=False)
class Prepared:
    """A page that is ready to be served.

    Attributes
    ----------
    pages : Pages
    keys : Keys
    desk : Desk
    """

    pages: Pages
    keys: Keys
    desk: Desk

    def guarded(self, port: int) -> Guard:
        """Return the application for one port."""
        return self.pages.guarded(port)

    def address(self, port: int) -> str:
        """Return the address that opens the page, once."""
        return f"http://{HOST}:{port}{ENTRY}?once={self.keys.entry}"


def prepare(study: Study, reviewed: Reviewed, *, reviewer: str = "") -> Prepared:
    """Lay a study's reports on the desk.

    Parameters
    ----------
    study : Study
    reviewed : Reviewed
        Of the same study.
    reviewer : str, optional
        Name of who decides; the page asks where it is empty.

    Returns
    -------
    Prepared

    Raises
    ------
    RoadriskError
        If the name is too long to be kept.
    """
    reviewer = " ".join("".join(c if c.isprintable() else " " for c in reviewer).split())
    if len(reviewer) > LONGEST_NAME:
        raise RoadriskError(f"a reviewer's name has at most {LONGEST_NAME} characters")
    store, keys = DecisionStore(study.folder), Keys()
    section = study.settings.study
    warning = synced_folder(study.folder)
    first = (INVENTED_BANNER,) if section.invented else ()
    said = (f"Take care: {warning}",) if warning else ()
    words = StudyWords(
        name=section.name,
        zone=section.time_zone,
        units=section.units,
        credit=credit(study),
        warnings=(*first, *said, CONFIDENTIAL),
    )
    desk = Desk(reviewed, store, words, reported_places(study, reviewed))
    desk.reviewer = reviewer
    pages = Pages(desk, Pictures(study.folder), HotStretches(study, store.history), keys)
    return Prepared(pages, keys, desk)


def reported_places(study: Study, reviewed: Reviewed) -> NDArray[np.float64]:
    """Return where senders put their reports, whatever was decided since.

    Parameters
    ----------
    study : Study
    reviewed : Reviewed

    Returns
    -------
    ndarray of float, shape (n, 2)
        Longitude and latitude [degrees] by row of `reviewed.reports`; NaN where nowhere.
    """
    sightings, _ = coordinates_of(study.sightings, study.agency_lines)
    parts = [sightings] if study.held is None else [sightings, study.held]
    places = []
    for part in parts:
        points = part.geometry.to_crs(WGS84)
        places.append(
            pd.DataFrame({"x": points.x.to_numpy(), "y": points.y.to_numpy()},
                         index=part["report_key"].to_numpy(object))
        )  # fmt: skip
    found = pd.concat(places).reindex(reviewed.reports["report_key"])
    return found.to_numpy(np.float64)


def serve(prepared: Prepared, *, port: int, opens: bool, say: Callable[[str], None]) -> None:
    """Serve the page on this computer until Ctrl-C.

    Parameters
    ----------
    prepared : Prepared
    port : int
        0: any free one.
    opens : bool
        Open the browser.
    say : callable
        Prints a line.

    Raises
    ------
    RoadriskError
        If the port is taken.
    """
    with _listening(port) as listening:
        port = listening.getsockname()[1]
        address = prepared.address(port)
        for warning in prepared.desk.words.warnings:
            say(warning)
        say(f"{prepared.desk.open_rows()} reports wait for a decision. Open, once: {address}")
        say("Ctrl-C here ends the review; what the page calls kept is kept.")
        if opens:
            webbrowser.open(address)
        config = uvicorn.Config(
            prepared.guarded(port),
            lifespan="off",
            ws="none",
            loop="asyncio",
            http="h11",
            log_level="error",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=2,
        )
        with suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listening])
    say(f"The review ended; {prepared.desk.open_rows()} reports still wait for a decision.")


def _listening(port: int) -> socket.socket:
    # Without the protocol's number asyncio lets small answers wait for 40 ms.
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    if os.name == "posix":
        # So that a review that was cut off can start again at once on the same port. Elsewhere
        # this option would let a second program share the port.
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port))
        # From now on a browser that is quicker than the server waits and isn't turned away.
        listening.listen(64)
    except (OSError, OverflowError) as error:
        listening.close()
        raise RoadriskError(
            f"port {port} can't be used ({error}): is another review running? Leave out --port"
        ) from error
    return listening
