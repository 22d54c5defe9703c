# SPDX-License-Identifier: MIT
"""A foreign record as it is kept: what a file of volts and amperes said, whole and unchanged."""

from collections.abc import Sequence
from datetime import datetime
from typing import Literal

from pydantic import Field
from uuid6 import uuid7

from sagline.analysis.foreign.table import Column, ForeignTable, Stated
from sagline.analysis.values import Notice
from sagline.anyrecord import AnyRecord, Strict
from sagline.designations import find
from sagline.errors import UsageError
from sagline.filecsv import ForeignText
from sagline.plaintext import plain_text
from sagline.wording import counted
from sagline_board import __version__

FILE_SCHEMA = "sagline-file-1"
METHOD = "file-1"
OWN_SERIES = "sagline-csv-1"
"""The schema that `log export --csv` writes. Its rows hold one channel each."""


class FileOptions(Strict):
    """What was asked for and stated beside the file; null was not.

    `u_...` are standard uncertainties: of the load, of the scale of each channel of volts and
    its zero, of the scale of the current. `window_s` is what each reading is the mean over.
    """

    load_ohm: float | None = Field(default=None, gt=0.0)
    times_s: list[float] | None = None
    window_s: float | None = Field(default=None, ge=0.0)
    u_ohm: float | None = Field(default=None, ge=0.0)
    u_volts_rel: float | None = Field(default=None, ge=0.0)
    u_volts: float | None = Field(default=None, ge=0.0)
    u_amps_rel: float | None = Field(default=None, ge=0.0)


class FileRecord(AnyRecord):
    """One file: `columns` by name, null where a field was not read; `digits` the exponent of ten
    of each one's last typed digit; `skipped` fields were blank, `ignored` columns meant nothing.

    `file` is its name without the folder.
    """

    METHOD = METHOD

    schema_: Literal["sagline-file-1"] = Field(FILE_SCHEMA, alias="schema")
    file: str
    columns: dict[str, list[float | None]]
    digits: dict[str, int]
    metadata: dict[str, str]
    skipped: int
    ignored: list[str]
    options: FileOptions

    @classmethod
    def of(
        cls,
        text: ForeignText,
        file: str,
        at: datetime,
        options: FileOptions,
        *,
        label: str | None,
        designation: str | None,
        operator: str | None,
        temperature_c: float | None,
        usual_operator: str | None = None,
    ) -> "FileRecord":
        """Return the record of a file's text, last written at `at` where it tells no time itself.

        What is None is taken from the file's own metadata. Raises UsageError `bad_metadata`,
        `not_text`.
        """
        told = text.metadata
        said = {"label": label, "designation": designation, "operator": operator}
        said = {
            name: plain_text(name, value) or plain_text(name, told.get(name))
            for name, value in said.items()
        }
        known = find(said["designation"] or "")
        if temperature_c is None:
            temperature_c = _number(told, "temperature_c")
        return cls(
            schema=FILE_SCHEMA,
            id=str(uuid7()),
            kind="file",
            started_at=_moment(told, at),
            label=said["label"],
            designation=said["designation"] if known is None else known.designation,
            operator=said["operator"] or usual_operator,
            temperature_c=temperature_c,
            sagline=__version__,
            file=file,
            columns=text.columns,
            digits=text.digits,
            metadata=told,
            skipped=text.skipped,
            ignored=list(text.ignored),
            options=options,
        )

    @property
    def rig_name(self) -> str:
        """The file."""
        return self.file

    @property
    def asked_times_s(self) -> list[float] | None:
        """The times that r was asked for; None where the record itself decides."""
        return self.options.times_s

    @property
    def by_force(self) -> bool:
        """Whether force_v tells the current: where there is no other, or its load was given."""
        given = self.options.load_ohm is not None
        return "force_v" in self.columns and (given or "current_a" not in self.columns)

    @property
    def load_ohm(self) -> float | None:
        """The load that was given, or that the file names; None where current_a is used."""
        if not self.by_force:
            return None
        given = self.options.load_ohm
        return _number(self.metadata, "load_ohm") if given is None else given

    @property
    def is_simulated(self) -> bool:
        """Whether the file says that it comes from a simulated rig."""
        return self.metadata.get("kind") == "virtual"

    def about(self) -> Sequence[tuple[str, str | None]]:
        """Return what was analysed, for a person."""
        load = "" if self.load_ohm is None else f" on {self.load_ohm:g} Ω"
        rows = counted(len(self.columns["time_s"]), "row")
        return [("file", self.file), ("done", f"{rows} of {', '.join(self.columns)}{load}")]

    def table(self) -> ForeignTable:
        """Return the columns as the analysis takes them.

        Raises UsageError `no_load`, `bad_metadata`, `empty_column`.
        """
        options = self.options
        current = None if self.by_force else self._column("current_a")
        force = self._column("force_v") if self.by_force else None
        if force is not None and self.load_ohm is None:
            raise UsageError(
                "no_load",
                "force_v tells the current only with the resistance across which it was read",
                "give it with --load OHM, or in a line `# load_ohm: OHM`",
            )
        on_s, on_digit = _times(self.metadata, "load_on_s")
        off_s, off_digit = _times(self.metadata, "load_off_s")
        sense = self._column("sense_v")
        assert sense is not None
        return ForeignTable(
            sense=sense,
            current=current,
            force=force,
            back=None if force is None else self._column("return_v"),
            load_ohm=self.load_ohm,
            switch_ohm=(_number(self.metadata, "switch_ohm") or 0.0)
            if options.load_ohm is None
            else 0.0,
            on_s=on_s,
            off_s=off_s if on_s else (),
            edge_half_s=0.5 * max(on_digit, off_digit),
            window_s=options.window_s or 0.0,
            stated=Stated(options.u_ohm, options.u_volts_rel, options.u_volts, options.u_amps_rel),
        )

    def remarks(self) -> list[Notice]:
        """Return what must be said of the file beside the figures."""
        said = []
        if self.is_simulated:
            said.append(
                Notice(
                    "simulated",
                    "the file was exported from a simulated rig: no cell was measured",
                    "take the figures for a trial of the method",
                )
            )
        if self.skipped and self.metadata.get("schema") != OWN_SERIES:
            said.append(
                Notice(
                    "fields_skipped",
                    f"{counted(self.skipped, 'field')} of the file are blank or no readings; they "
                    "are skipped",
                    "see that no reading is missing near the edges of the load",
                )
            )
        others = ("current_a",) if self.by_force else ("force_v", "return_v")
        unused = [*self.ignored, *(name for name in others if name in self.columns)]
        if unused:
            said.append(
                Notice(
                    "columns_unused",
                    f"these columns are not used: {', '.join(unused)}",
                    "current_a is used where it is, or with --load OHM force_v in its place",
                )
            )
        if self.options.load_ohm is not None and not self.by_force:
            said.append(
                Notice(
                    "load_unused",
                    "the load that was given is not used: current_a tells the current",
                    "leave --load out, or give force_v, the voltage across it",
                )
            )
        return said

    def _column(self, name: str) -> Column | None:
        if name not in self.columns:
            return None
        pairs = [
            (t_s, value)
            for t_s, value in zip(self.columns["time_s"], self.columns[name], strict=True)
            if t_s is not None and value is not None
        ]
        if not pairs:
            raise UsageError(
                "empty_column",
                f"the column {name} has no reading",
                "fill it, or take the column out",
            )
        return Column.of_pairs(pairs, self.digits[name])


def _number(told: dict[str, str], key: str) -> float | None:
    found, _ = _times(told, key)
    return found[0] if found else None


def _times(told: dict[str, str], key: str) -> tuple[tuple[float, ...], float]:
    """Numbers of a line of metadata, parted by spaces, and the last digit typed of any."""
    parts = told.get(key, "").split()
    try:
        numbers = tuple(float(part) for part in parts)
        digits = [10.0 ** -len(part.lower().split("e")[0].partition(".")[2]) for part in parts]
    except ValueError:
        raise UsageError(
            "bad_metadata",
            f"the file's line `# {key}: {told[key]}` holds no number",
            "write numbers with decimal points and without units, or take the line out",
        ) from None
    return numbers, max(digits, default=0.0)


def _moment(told: dict[str, str], otherwise: datetime) -> datetime:
    try:
        at = datetime.fromisoformat(told["started_at"])
    except (KeyError, ValueError):
        return otherwise
    return at.astimezone()
