"""The table `crucibles`: TS and VS of materials from what their crucibles weighed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from bmp.problem import Problem, shown
from bmp.read.columns import CRUCIBLES, one_of
from bmp.read.records import Rows, read_rows
from bmp.read.tables import CellTable
from bmp.solids import CrucibleError, Solids, solids_from_crucibles
from bmp.trial import FloatArray, Material

_WEIGHTS = ("tare_g", "wet_g", "dry_g", "ash_g")


def read_crucibles(
    table: CellTable,
    materials: tuple[Material, ...],
    problems: list[Problem],
    ignored: list[str],
) -> dict[str, Solids]:
    """Return TS and VS by the material's name as `materials` has it.

    A row that holds no weight is a crucible still to weigh and is left alone.
    """
    rows = read_rows(table, CRUCIBLES, problems, ignored)
    missing = [k.name for k in CRUCIBLES[:4] if k.field not in rows.found]
    for header in missing:
        problems.append(Problem(table.name, f"there is no column “{header}”", "add it", 1))
    if missing:
        return {}
    by_name = {material.name.lower(): material.name for material in materials}
    places: dict[str, list[int]] = {}
    for index in range(len(table.rows)):
        if all(rows.number(field, index) is None for field in _WEIGHTS):
            continue
        text = rows.text("name", index)
        name = by_name.get(text.lower())
        if name is None:
            what = f"{shown(text or None)} is not among the materials"
            problems.append(rows.problem(index, "name", what, one_of(list(by_name.values()))))
        else:
            places.setdefault(name, []).append(index)
    found = {name: _solids(rows, at, problems) for name, at in places.items()}
    return {name: solids for name, solids in found.items() if solids is not None}


def _solids(rows: Rows, at: list[int], problems: list[Problem]) -> Solids | None:
    weights = {field: rows.values[field][at] for field in _WEIGHTS if field in rows.values}
    ash = weights.get("ash_g")
    if ash is not None and np.isnan(ash).all():
        ash = None
    try:
        return solids_from_crucibles(
            weights["tare_g"],
            weights["wet_g"],
            weights["dry_g"],
            ash,
            balance_u_g=_balance(rows, at),
        )
    except CrucibleError as error:
        wanted = "weigh again or clear the row"
        for place, what in error.faults:
            number = rows.table.row_numbers[at[place or 0]]
            problems.append(Problem(rows.table.name, what, wanted, number))
        return None


def _balance(rows: Rows, at: list[int]) -> FloatArray | None:
    """Return the balance's error at each weighing; `None` where it was not given for all."""
    given = rows.values.get("balance_u_g")
    if given is None or np.isnan(given[at]).any():
        return None
    error: FloatArray = np.abs(given[at])
    return error


def with_crucibles(
    materials: tuple[Material, ...], solids: Mapping[str, Solids], assumed: list[str]
) -> tuple[Material, ...]:
    """Return the materials with TS and VS of their crucibles, which outweigh any typed in."""
    changed = []
    for material in materials:
        found = solids.get(material.name)
        if found is not None:
            material = replace(
                material, TS=found.TS.value, TS_u=found.TS.u, TS_dof=found.TS.dof,
                solids_replicates=float(found.TS.n),
            )  # fmt: skip
            words = "TS"
            if found.VS is not None:
                material = replace(
                    material, VS=found.VS.value, VS_u=found.VS.u, VS_dof=found.VS.dof,
                    solids_from=None,
                )  # fmt: skip
                words = "TS and VS"
            number = f"{found.TS.n} crucible{'s' if found.TS.n > 1 else ''}"
            assumed.append(f"{words} of {material.name} are those of its {number}.")
            assumed.extend(f"{material.name}: {caution}." for caution in found.cautions)
        changed.append(material)
    return tuple(changed)
