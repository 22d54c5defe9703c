# SPDX-License-Identifier: MIT
"""One draw of a study (simulated): a cell in a rig of its own, measured, beside the truth.

A draw is a function of its number: which cell, which front end, which rig and noise. The rig is
drawn within the limits of its profile; the cell, but for the random ones, is the same each time.
"""

import tempfile
import time
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np

from bench.custom import draw_custom
from bench.nearrig import open_near
from bench.true_calibration import calibration_of, rig_of
from sagline.calibrations import Calibration
from sagline.designations import DESIGNATIONS
from sagline.errors import SaglineError
from sagline.results import Quantity, Result
from sagline.virtual.cell import Cell
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import REFERENCE_TIME_S, truth

CUSTOM = "custom"
CELL_NAMES = (*CELLS, CUSTOM)
FRONT_ENDS = {
    "null": "null=on",
    "ads1115": "null=off&adc=ads1115",
    "both": "null=off",
    "onboard": "adc=onboard",
}
"""What each front end is in an address."""

BOARDS = ("rp2350", "rp2040")


@dataclass(frozen=True)
class Figure:
    """A figure of a result with the truth beside it, all in the figure's unit."""

    value: float
    u: float
    low95: float
    high95: float
    truth: float


@dataclass(frozen=True)
class Draw:
    """What one measurement gave: figures, or the code of the error in `refused`.

    `emf` in V; `r` at 0.1 s and `ohmic`, r at `from_s`, in ohm, each None where the result has
    none or no interval. The budgets are shares of u² by source.
    """

    number: int
    cell: str
    front_end: str
    board: str
    load_ohm: float
    method: str | None = None
    emf: Figure | None = None
    r: Figure | None = None
    ohmic: Figure | None = None
    from_s: float | None = None
    r_budget: dict[str, float] | None = None
    emf_budget: dict[str, float] | None = None
    refused: str | None = None
    words: str | None = None
    seconds: float = 0.0

    @property
    def limit(self) -> str | None:
        """The source of most of r's u²."""
        return max(self.r_budget, key=self.r_budget.__getitem__) if self.r_budget else None

    def to_dict(self) -> dict[str, Any]:
        """Return the draw as JSON takes it."""
        return asdict(self)

    @classmethod
    def from_dict(cls, said: dict[str, Any]) -> "Draw":
        """Return the draw that `to_dict` gave."""
        figures = {key: said[key] and Figure(**said[key]) for key in ("emf", "r", "ohmic")}
        return cls(**{**said, **figures})


@dataclass(frozen=True)
class Study:
    """Which rows there are: every cell with every front end, one draw after the other.

    `calibrated` rigs know their true values as well as `true_calibration.py` says.
    """

    cells: tuple[str, ...]
    front_ends: tuple[str, ...]
    calibrated: bool = False

    @property
    def rows(self) -> list[tuple[str, str]]:
        """Cell and front end of each row."""
        return [(cell, front_end) for cell in self.cells for front_end in self.front_ends]

    def draw(self, number: int) -> Draw:
        """Measure draw `number`."""
        turn, at = divmod(number, len(self.rows))
        cell, front_end = self.rows[at]
        board = BOARDS[turn % len(BOARDS)]
        # Two rows with the same rigs would err together, and all of them tell less.
        query = f"seed={number}&board={board}&{FRONT_ENDS[front_end]}"
        with tempfile.TemporaryDirectory() as folder:
            if cell == CUSTOM:
                file = Path(folder) / "cell.toml"
                custom = draw_custom(np.random.default_rng([number, len("custom")]), file)
                address = f"virtual://{CUSTOM}?cell={quote(str(file), safe='')}&{query}"
                wish, load_ohm = {"load_ohm": custom.load_ohm}, custom.load_ohm
                true_cell = custom.cell
            else:
                true_cell = CELLS[cell]
                address = f"virtual://{cell}?{query}"
                load_ohm = DESIGNATIONS[true_cell.designation].load_ohm
                wish = {"designation": true_cell.designation}
            which = Draw(number, cell, front_end, board, load_ohm)
            return measured(which, true_cell, address, wish, self.calibrated)


def measured(
    which: Draw, cell: Cell, address: str, wish: dict[str, Any], calibrated: bool = False
) -> Draw:
    """Return `which` with what measuring `cell` at `address` gave, or with the error's code."""
    began = time.monotonic()
    try:
        calibration = _calibration(address, which.number) if calibrated else None
        with open_near(address, calibration) as rig:
            result = rig.measure(**wish)
    except SaglineError as error:
        return _but(which, refused=error.code, words=error.message)
    except Exception as error:
        # One failure of ten thousand must not lose the others, and must not be missed either.
        return _but(which, refused=f"crash {type(error).__name__}", words=str(error))
    found = compared(which, cell, result)
    return _but(found, seconds=time.monotonic() - began)


def _calibration(address: str, number: int) -> Calibration:
    parts, serial = rig_of(address)
    rng = np.random.default_rng([number, len("calibration")])
    return calibration_of(parts, serial=serial, rng=rng)


def compared(which: Draw, cell: Cell, result: Result) -> Draw:
    """Return `which` with the figures of `result` and the truth of `cell` on the same load."""
    ohmic = result.r_ohmic_ohm
    times_s = [] if ohmic is None else [ohmic.from_s]
    true = truth(cell, which.load_ohm, times_s)["truth"]
    true_r = {item["t_s"]: item["value"] for item in true["r_at"]}
    return _but(
        which,
        method=result.method,
        emf=None if result.emf_v is None else _figure(result.emf_v, true["emf_v"]),
        r=_figure(result.r_ohm, true_r[REFERENCE_TIME_S]),
        ohmic=None if ohmic is None else _figure(ohmic, true_r[ohmic.from_s]),
        from_s=None if ohmic is None else ohmic.from_s,
        r_budget={line.source: line.share for line in result.budget},
        emf_budget={line.source: line.share for line in result.emf_budget},
    )


def _but(which: Draw, **changes: Any) -> Draw:
    return Draw(**{**vars(which), **changes})


def _figure(quantity: Quantity, true: float) -> Figure | None:
    u, low, high = quantity.u, quantity.low95, quantity.high95
    if u is None or low is None or high is None:
        return None
    return Figure(quantity.value, u, low, high, true)


def names(text: str, known: Sequence[str] | Iterable[str]) -> tuple[str, ...]:
    """The names in a list with commas. Raises ValueError for one that is not `known`."""
    asked = tuple(text.split(","))
    for name in asked:
        if name not in known:
            raise ValueError(f"{name!r} is none of {', '.join(known)}")
    return asked
