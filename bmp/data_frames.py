"""Tables as pandas data frames, and data frames as the tables of a trial."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from bmp.constants import REFERENCE_PRESSURE_KPA, REFERENCE_TEMPERATURE_K, ZERO_CELSIUS_K
from bmp.problem import Problem, UnusableInput
from bmp.read.reader import trial_of
from bmp.read.tables import Cell, CellTable
from bmp.tables import TEXT, Column, Table
from bmp.trial import Trial

if TYPE_CHECKING:
    import pandas as pd


def frame(table: Table, title: str = "") -> pd.DataFrame:
    """Return a table of results as a data frame, the reference state of all gas in its `attrs`.

    Parameters
    ----------
    table : bmp.tables.Table
    title : str
        Of the trial, for `attrs`.
    """
    import pandas as pd

    made = pd.DataFrame(
        {
            column.name: _series(column, values)
            for column, values in zip(table.columns, table.values, strict=True)
        }
    )
    made.attrs = {
        "trial": title,
        "gas": "dry",
        "temperature_C": REFERENCE_TEMPERATURE_K - ZERO_CELSIUS_K,
        "pressure_kPa": REFERENCE_PRESSURE_KPA,
    }
    return made


def _series(column: Column, values: Sequence[Any]) -> pd.Series[Any]:
    import pandas as pd

    if column.form != TEXT:
        whole = column.form == "0" and all(value is not None for value in values)
        return pd.Series(values, dtype="int64" if whole else "float64")
    if any(isinstance(value, bool) for value in values):
        return pd.Series(values, dtype="bool" if None not in values else "boolean")
    return pd.Series(values, dtype="object")


def frame_of_rows(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> pd.DataFrame:
    """Return rows of plain values as a data frame."""
    import pandas as pd

    return pd.DataFrame(list(rows), columns=list(columns))


def trial_of_frames(
    trial: Mapping[str, Any],
    frames: Mapping[str, pd.DataFrame],
    title: str,
) -> Trial:
    """Return the trial in some data frames, read by the rules of files.

    Parameters
    ----------
    trial
        Items of the table `trial` with their values, units in the names.
    frames
        By the name of the table: `materials`, `jars`, `readings` and others of the guide. Headers
        are those of the tables, units in brackets.
    title
        Used where `trial` gives none.

    Raises
    ------
    UnusableInput
        With every problem found; rows count as in a sheet, whose header is row 1.
    """
    tables = {"trial": _table("trial", ("item", "value"), list(trial.items()))}
    for name, one in frames.items():
        rows = list(one.itertuples(index=False, name=None))
        tables[name] = _table(name, [str(header) for header in one.columns], rows)
    problems: list[Problem] = []
    made = trial_of(tables, title, problems)
    if problems:
        raise UnusableInput(problems)
    return made


def _table(name: str, header: Sequence[str], rows: Sequence[Sequence[Any]]) -> CellTable:
    cells = [tuple(_cell(value) for value in row) for row in rows]
    filled = [number for number, row in enumerate(cells) if any(cell is not None for cell in row)]
    return CellTable(
        name,
        tuple(header),
        tuple(cells[number] for number in filled),
        tuple(number + 2 for number in filled),
    )


def _cell(value: Any) -> Cell:
    """Return a value of pandas or NumPy as a cell of a sheet; what is missing is empty."""
    import pandas as pd

    if value is None or value is pd.NaT or value is pd.NA or value != value:
        return None
    if isinstance(value, str):
        return value.strip() or None
    if isinstance(value, pd.Timestamp):
        made: datetime = value.to_pydatetime()
        return made
    if isinstance(value, pd.Timedelta):
        return value.to_pytimedelta()
    plain: Cell = value.item() if hasattr(value, "item") else value
    return plain
