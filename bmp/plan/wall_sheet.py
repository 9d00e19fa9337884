"""The sheet for the wall: what to know, then doses and readings to fill in, on A4 or Letter."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from bmp.plan.dosing import Dose, PlannedJar
from bmp.plan.logbook import WEIGH_WHEN_CLOSED, by_position, expected_at, read_words, when
from bmp.plan.plan import Plan
from bmp.plan.reading_rounds import Round

Item = TypeVar("Item")

# A landscape page of readings [mm]: the lower of A4 and Letter, its margins, its heading, the head
# and the notes of the grid, and the least height of a row that a hand can write in.
PAGE_MM, MARGIN_MM, HEAD_MM, GRID_MM = 210, 8, 6, 18
ROW_MM, HIGHEST_ROW_MM = 5.0, 8.0
# Rows beside doses and rounds: what was weighed, the first weighing, and one to spare.
MORE_ROWS = 3
# Columns of readings that a page has room for: of short figures, of long or double ones.
MOST_JARS, MOST_JARS_LONG = 16, 12


@dataclass(frozen=True)
class Kind:
    """The jars of one dose."""

    dose: Dose
    names: str
    places: str


@dataclass(frozen=True)
class WallPage:
    """One page of doses, of readings, or of both."""

    doses: tuple[Kind, ...]
    jars: tuple[PlannedJar, ...]
    rounds: tuple[tuple[Round, str, float, float], ...]
    first: bool
    """Whether the jars' first round is on it."""


def wall_sheet_html(plan: Plan) -> str:
    """Return the wall sheet as one HTML page; everything a person wrote is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    closed, sheets = plan.request.outlet == "closed", sheets_of(plan)
    template = environment.get_template("wall_sheet.html.j2")
    return template.render(
        plan=plan,
        sheets=sheets,
        row_mm=_row_mm(sheets),
        margin_mm=MARGIN_MM,
        head_mm=HEAD_MM,
        warm_unit=plan.request.units.temperature,
        air_unit=plan.request.units.ambient,
        headspace=plan.draft.doses[0].headspace_mL,
        closed=closed,
        read=read_words(plan),
        weigh=WEIGH_WHEN_CLOSED if plan.weighed_when_closed else "",
        facts=_facts(plan),
        grams=grams,
    )


def sheets_of(plan: Plan) -> list[WallPage]:
    """Return the pages of doses and readings: one where a page has room, else even parts.

    Where the doses leave too little room for the rounds, they have a page of their own.
    """
    kinds, closed = _kinds(plan), plan.request.outlet == "closed"
    most = MOST_JARS_LONG if closed or plan.request.measured == "mass" else MOST_JARS
    rounds = [(one, _words(when(one)), *expected_at(plan, one)) for one in plan.rounds]
    jars = _even(by_position(plan), most)
    fits = _rows(len(kinds) + 1 + MORE_ROWS) >= len(rounds)
    parts = _even(rounds, len(rounds) if fits else _rows(MORE_ROWS))
    grids = [
        WallPage(kinds if fits else (), tuple(some), tuple(part), i == 0)
        for i, part in enumerate(parts)
        for some in jars
    ]
    return grids if fits else [WallPage(kinds, (), (), False), *grids]


def _rows(taken: int) -> int:
    """Return the rows of readings that a page has room for beside rows that are taken."""
    return int((PAGE_MM - 2 * MARGIN_MM - HEAD_MM - GRID_MM) / ROW_MM) - taken


def _row_mm(sheets: list[WallPage]) -> float:
    """Return the height of a row that fills the fullest page."""
    rows = max(len(s.doses) + 1 + len(s.rounds) + MORE_ROWS for s in sheets)
    return round(min(HIGHEST_ROW_MM, ROW_MM * _rows(0) / rows), 2)


def _even(items: Sequence[Item], most: int) -> list[Sequence[Item]]:
    """Return the items in as few parts as hold at most so many each, as even as can be."""
    parts = math.ceil(len(items) / most)
    edges = [round(i * len(items) / parts) for i in range(parts + 1)]
    return [items[a:b] for a, b in itertools.pairwise(edges)]


def _kinds(plan: Plan) -> tuple[Kind, ...]:
    jars: dict[Dose, list[PlannedJar]] = {}
    for jar in plan.jars:
        jars.setdefault(jar.dose, []).append(jar)
    return tuple(
        Kind(
            dose,
            some[0].name if len(some) == 1 else f"{some[0].name} to {some[-1].name}",
            ", ".join(str(place) for place in sorted(jar.position for jar in some)),
        )
        for dose, some in jars.items()
    )


def grams(mass_g: float) -> str:
    """Return a mass with the digits and the unit in which it is fetched."""
    return f"{mass_g / 1000:.3g} kg" if mass_g >= 1000 else f"{mass_g:.3g} g"


def _words(at: str | datetime) -> str:
    return at if isinstance(at, str) else at.strftime("%a %Y-%m-%d %H:%M")


def _facts(plan: Plan) -> list[tuple[str, str]]:
    request = plan.request
    warm = request.units.shown("temperature", request.incubation_temperature_C)
    start = "on the day the jars are closed" if request.started is None else _words(request.started)
    outlet = "open outlet"
    if request.outlet == "closed":
        rated = request.units.shown("gauge", request.vessel_rating_kPa or 0.0)
        outlet = f"closed, rated {rated:.3g} {request.units.gauge} gauge"
    vessel = f"{request.vessel} of {request.jar_volume_mL:g} mL, {outlet}"
    return [
        ("start", start),
        ("days", f"{request.days:g}"),
        ("jars at", f"{warm:.3g} {request.units.temperature}"),
        ("vessel", vessel),
        ("measured", f"by {request.measured}"),
    ]
